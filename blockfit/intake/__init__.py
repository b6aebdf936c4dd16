"""Scans and yards as they come, read, mended and checked."""
