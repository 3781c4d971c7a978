"""Theoretical teeth: racks, involutes, cycloids, straight sides; their gaps and their sizes."""
