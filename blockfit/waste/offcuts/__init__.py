"""Pieces that come off whole: planned, divided, and the stone as it then stands."""
