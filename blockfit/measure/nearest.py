"""Nearest points; scipy's tree of points has its one home here."""

from typing import Any

from blockfit.geometry.arrays import Array

__all__ = ["tree_of"]


def tree_of(points: Array) -> Any:
    """Return a tree of (n, 3) points: ``query(places, k)`` gives distances and indices of the nearest."""
    from scipy.spatial import cKDTree

    return cKDTree(points)
