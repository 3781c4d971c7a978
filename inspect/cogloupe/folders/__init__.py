"""Photographs in folders, one or ten thousand: read, kept, found again."""
