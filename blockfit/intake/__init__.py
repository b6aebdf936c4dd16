"""Scans and yards as they come, read, repaired and checked."""
