"""Nearest points; scipy's tree of points has its one home here."""

from typing import Any

from blockfit.geometry.arrays import Array

__all__ = ["tree_of"]


def tree_of(points: Array) -> Any:
    """Return a tree of (n, 3) points: ``query(places, k)`` gives distances and indices of the nearest.

    With ``workers=-1`` the places are shared out to all cores; the answers are the same to the last digit.
    """
    from scipy.spatial import cKDTree

    return cKDTree(points)
