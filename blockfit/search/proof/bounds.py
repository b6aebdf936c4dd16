"""How little a sum of reaches can become over a whole cell of rotations. Each bound with its proof.

Setting: weights λ with Σ λ_j n_j = 0, and points p_j of the figure. At every rotation R,
``Σ λ_j h(Rᵀ n_j) >= Σ λ_j n_j·(R p_j) = tr(R M)`` with ``M = Σ λ_j p_j n_jᵀ``: any choice of points gives
a lower bound, the support points at the cell's centre C the best one there. With R = E C and N = C M the
bounds below minimise ``tr(E N)`` over the turns E of the cell. What rounding may do to each of them is bounded in
`blockfit.search.proof.rounding`, and added to what is said in the end."""

import numpy as np

from blockfit.geometry.arrays import Array

__all__ = ["least_over_turns", "least_over_vertical", "least_width"]


def least_width(along: Array, across: Array, radius: Array) -> Array:
    """Return the least of ``u·(E v)`` over all turns E by at most ``radius``, for a pair of opposite faces.

    ``along`` is u·v at the centre, ``across`` is |u × v|: both, since their arc tangent keeps every digit of a
    small angle. Proof: the angle α between u and v grows by at most ``radius``, and |v| cos is decreasing on
    [0, π]. Exact, since a turn about u × v attains it.
    """
    angle = np.arctan2(across, along)
    return np.asarray(np.hypot(along, across) * np.cos(np.minimum(angle + radius, np.pi)))


def least_over_turns(trace: Array, axial: Array, deviation: Array, radius: Array) -> Array:
    """Return a lower bound of ``tr(E N)`` over all turns E by at most ``radius``.

    ``trace`` is tr N, ``axial`` is |w| with w = (N12−N21, N20−N02, N01−N10), ``deviation`` is the Frobenius
    norm of S − (tr N / 3) I, where S = (N + Nᵀ)/2. Proof: for a turn by θ about a unit axis a,
    ``tr(E N) = tr N + sin θ a·w − (1 − cos θ)(tr N − aᵀ S a)``. Here a·w >= −|w|, and the least eigenvalue of
    S is at least tr N / 3 − √(2/3)·deviation (a traceless symmetric 3 x 3 matrix has no eigenvalue larger than
    √(2/3) times its norm). Both terms only grow with θ up to π/2; beyond, sin θ <= 1.
    """
    curve = np.maximum(trace * (2 / 3) + np.sqrt(2 / 3) * deviation, 0)
    sine = np.where(radius < np.pi / 2, np.sin(radius), 1)
    return np.asarray(trace - sine * axial - (1 - np.cos(np.minimum(radius, np.pi))) * curve)


def least_over_vertical(level: Array, across: Array, fixed: Array, half: Array) -> Array:
    """Return the least of ``tr(E N)`` over turns about the vertical by −half … half. Exact.

    ``level`` is N00 + N11, ``across`` is N01 − N10, ``fixed`` is N22. Proof: tr(E N) = level·cos θ +
    across·sin θ + fixed, a single sinusoid: least at −amplitude if its trough lies inside, else at an end.
    """
    size = np.hypot(level, across)
    phase = np.abs(np.arctan2(across, level))  # the crest lies this far from the centre, the trough π − phase
    ends = size * np.cos(np.minimum(phase + half, np.pi))
    return np.asarray(fixed + np.where(np.pi - phase <= half, -size, ends))
