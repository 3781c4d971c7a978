"""Edges of a whole outline, fitted at once near a predicted one: no grey level divides."""
