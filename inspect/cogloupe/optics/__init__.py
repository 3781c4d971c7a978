"""How light, lens and camera draw an edge, and the fit of it: from crossings to edge points."""
