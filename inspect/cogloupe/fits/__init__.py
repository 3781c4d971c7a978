"""Fits to edge points: flanks, circles, axes, the datum, and the size of the gear."""
