"""What fitted flanks and gaps amount to: pitch, profile, gap shape and sizes, with uncertainty."""
