"""Pixel scale of a picture, with its uncertainty."""
