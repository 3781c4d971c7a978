"""What cut the gaps, and which gear an unknown one is."""
