"""Drawings at full size, and the files they are saved to."""
