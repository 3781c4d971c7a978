"""Puts measured figures into the models of a reading."""
