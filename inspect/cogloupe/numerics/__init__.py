"""Arithmetic on arrays that knows nothing of gears or pictures."""
