"""What rounding may have taken from a bound, by an analysis made beforehand. mm, block frame about its centre.

With u = 2⁻⁵³ and γ_n = n u / (1 − n u), a sum of n products of floating point numbers is wrong by γ_n times the sum of
their sizes at most (N. Higham, Accuracy and Stability of Numerical Algorithms, 2nd ed. 2002, section 3.1, from
memory). Every bound of the search is (room − s·low)/load, or room/low for the scale, of weights λ_j >= 0 that add up to
1 over f unit normals n_j: any such weights are valid as they are stored, since what they leave over is part of the
room.

- room = λ·o + 3R|Σ λ_j n_j| is wrong by γ_{f+8}·(O + 3R), where O is the largest |o_j|.
- low is a bound of tr(E C M) over turns E, M = Σ λ_j p_j n_jᵀ, |p_j| <= ρ. The entries of M are wrong by γ_{f+3} ρ, the
  rotation C and the product by γ_{16} ρ; traces, norms, sines and cosines take some thirty operations more; least
  eigenvalues of symmetric matrices of three or four rows are wrong by a small multiple of u‖M‖ (LAPACK Users' Guide,
  3rd ed. 1999, section 4.7, from memory), for which 64 is allowed. In all γ_{f+128} (ρ + A): A is the largest
  coordinate of the figure as read, since its corners were centred once.
- A bound B of the scale is reached by weights with low = room/B, at least the inner radius of the hull, and at least
  the least room of any listed weights over B. Its error follows from those of room and low, and 8u of itself.
- With a load, what is wrong is divided by it. Loads of 1 on all faces add up to 1; loads on some faces only count where
  they are at least `LEAST_LOAD`.

All is doubled, for second orders and for what was counted too closely. The tests let exact arithmetic prove what the
search says with this margin, and nothing more.
"""

import numpy as np

from blockfit.search.proof.questions import LEAST_LOAD, Question
from blockfit.search.proof.support import Hull

__all__ = ["rounding_margin"]

_U = 2.0**-53
_SAFETY = 2.0


def rounding_margin(question: Question, hull: Hull, bound: float) -> float:
    """Return by how much a bound on the merit must be raised to hold whatever rounding did; 0 where it is infinite.

    ``bound`` is the merit's bound as computed: a scale, or mm.
    """
    if not np.isfinite(bound):
        return 0.0
    faces = len(question.normals)
    far = float(np.abs(hull.centre).max(initial=0.0)) + hull.radius
    room = _gamma(faces + 8) * (float(np.abs(question.offsets).max()) + 3 * question.radius)
    low = _gamma(faces + 128) * (hull.radius + far + question.tolerance)
    if question.scale is not None:
        load = 1.0 if (question.loads == 1).all() else LEAST_LOAD
        return _SAFETY * ((room + question.scale * low) / load + 8 * _U * abs(bound))
    rooms = question.rows.room
    least_room = float(rooms[rooms > 0].min(initial=np.inf))
    held = max(hull.inner_radius + question.tolerance, least_room / bound if bound > 0 else np.inf)
    return _SAFETY * ((room + bound * low) / held + 8 * _U * bound) if held > 0 else 0.0


def _gamma(count: int) -> float:
    return count * _U / (1 - count * _U)
