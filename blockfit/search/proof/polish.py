"""From a good rotation to the best one near it, by a few small linear programs on the contact points.

Each program lets the figure turn a little, shift and grow at once; its duals also give a certificate: a
single inequality that bounds the merit of every rotation and is tight, with no slope, at the one found (as nearly as
the climb came to it)."""

import math
from dataclasses import dataclass

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.programs import least
from blockfit.geometry.tolerances import CLOSE, TOUCHING
from blockfit.geometry.turns import from_quaternions, quaternion, turned_by
from blockfit.search.proof.dependencies import USED, cancelled
from blockfit.search.proof.questions import Question
from blockfit.solids.stance import Stance

__all__ = ["TightBound", "Polished", "polish", "stance_limits", "tangent_contacts", "within_stance"]

_EXACT = 1e-8  # radians: steps below it have nothing more to gain; a climb so close ends in Newton steps
_EQUAL = 1e-16  # of the merit, or of the hull's radius: programs that promise less are done
_PER_FACE = 12  # contact candidates a face; more only slow the programs
_NEWTON = 1e-5  # radians: the greatest step of the last programs


@dataclass(frozen=True, slots=True, eq=False)
class TightBound:
    """For every rotation R of the stance, Σ λ_j h_j >= tr(R ``matrix``) + ``constant``.

    ``room`` is λ·(b − c), ``load`` λ·a. A limit of the stance, tr(R X) + c >= 0, may be taken off any number of
    times: what is left is a lower bound for every rotation that keeps it, and has no slope at an optimum on it.

    ``pair`` is the dependency it rests on, if that is a single pair of opposite faces; else −1.
    """

    matrix: Array
    constant: float
    room: float
    load: float
    pair: int


@dataclass(frozen=True, slots=True, eq=False)
class Polished:
    """A rotation, its merit by the closed form, and a certificate where the duals gave one."""

    rotation: Array
    value: float
    certificate: TightBound | None


@dataclass(frozen=True, slots=True, eq=False)
class _Contacts:
    face: Ints
    point: Array  # (m, 3) in figure axes
    turned: Array  # (m, 3) in block axes


@dataclass(frozen=True, slots=True, eq=False)
class _Duals:
    """The duals (m,) of a program, its contacts, and the merit where it was asked."""

    contacts: _Contacts
    duals: Array
    value: float


def polish(
    question: Question,
    points: Array,
    rotation: Array,
    trust: float,
    stance: Stance,
    *,
    close: float = 0.0,
    steps: int = 14,
) -> Polished:
    """Return the best rotation found near ``rotation``, starting with steps of up to ``trust`` radians.

    Never worse than where it started. The stance is kept throughout. It ends with a step shorter than ``close``
    radians, which leaves an error of about its square; 0 asks for the last digit.
    """
    rotation = within_stance(rotation, stance)
    value = question.value(points, rotation)
    radius = float(np.linalg.norm(points, axis=1).max())
    if not np.isfinite(value) or radius == 0:  # some condition fails outright, or no turn changes anything
        return Polished(rotation, value, None)
    seen: list[_Duals] = []
    for _ in range(steps):
        contacts = _contacts(question, points, rotation, trust * radius)
        step, duals, promised = _program(question, contacts, rotation, value, trust, radius, stance)
        if step is None:
            break
        size = float(np.abs(step).max())
        seen.append(_Duals(contacts, duals, value))
        moved = within_stance(turned_by(step) @ rotation, stance)
        gained = question.value(points, moved) - value
        if gained > 0:
            rotation, value = moved, value + gained
        # From a saddle nothing is promised, and yet a step may gain: that is not the end.
        if size < max(close, _EXACT) or (gained <= 0 and promised < _EQUAL):
            break
        # Steps that stop short of the trust are Newton steps: what is left is of second order.
        trust = min(trust, 2 * size) if gained > 0 else min(trust, size) / 4
    if close <= _EXACT:
        rotation, value = _finish(question, points, rotation, value, stance, seen)
    return Polished(rotation, value, _last_certificate(question, seen, radius, stance))


def within_stance(rotation: Array, stance: Stance) -> Array:
    """Return the rotation if the stance allows it, else one near it at the limit."""
    if stance.is_free or stance.allows(rotation, 0.0):
        return rotation
    w, x, y, z = quaternion(rotation)
    half_turn = math.atan2(z, w) if w or z else 0.0
    half_turn = (half_turn + math.pi / 2) % math.pi - math.pi / 2
    most = math.radians(stance.turn) / 2
    kept = min(max(half_turn, -most), most) if stance.turn < 180 else half_turn
    # R = swing · twist: keep the swing's direction, shorten its angle.
    swing = math.atan2(math.hypot(x, y), math.hypot(w, z))
    kept_swing = min(swing, math.radians(stance.tilt) / 2)
    twist = np.array([math.cos(half_turn), 0, 0, math.sin(half_turn)])
    axis = _multiply(np.array([w, x, y, z]), twist * [1, 1, 1, -1])
    across = math.hypot(axis[1], axis[2])
    lean = np.array([1.0, 0, 0, 0])
    if across > 0 and kept_swing > 0:
        sign = math.copysign(1.0, axis[0])
        lean = np.array([math.cos(kept_swing), *(sign * math.sin(kept_swing) * axis[1:3] / across), 0])
    return from_quaternions(_multiply(lean, np.array([math.cos(kept), 0, 0, math.sin(kept)])))


def tangent_contacts(question: Question, points: Array, rotation: Array, depth: float) -> tuple[Ints, Array]:
    """Return the faces (m,) and points (m, 3), in block axes, that touch or could after moving by ``depth``."""
    contacts = _contacts(question, points, rotation, depth)
    return contacts.face, contacts.turned


def _contacts(question: Question, points: Array, rotation: Array, depth: float) -> _Contacts:
    """Return the points that touch each face now, or could after a turn that moves them by ``depth``."""
    turned = points @ rotation.T
    heights = turned @ question.normals.T  # (n, f)
    count = min(_PER_FACE, len(points))
    top = np.argpartition(-heights, count - 1, axis=0)[:count]  # (count, f)
    reached = np.take_along_axis(heights, top, axis=0)
    near = reached >= reached.max(axis=0) - 2 * depth
    face = np.broadcast_to(np.arange(len(question.normals)), top.shape)[near]
    return _Contacts(face, points[top[near]], turned[top[near]])


def _system(question: Question, contacts: _Contacts, value: float, radius: float) -> tuple[Array, Array]:
    """Return the contacts' conditions ``rows @ (gain, turn, shift) <= rest``, in units of the hull's radius.

    Gain is the scale's growth as a ratio (or the cover's in radii). With s' = s(1 + g), the product of turn and
    growth is dropped: it is of second order.
    """
    normals = question.normals[contacts.face]
    turned = contacts.turned / radius
    scale = value if question.scale is None else question.scale
    heights = (normals * turned).sum(axis=1) + question.tolerance / radius
    grow = scale * heights if question.scale is None else question.loads[contacts.face]
    now = 0.0 if question.scale is None else value / radius
    rows = np.column_stack([grow, scale * np.cross(turned, normals), normals])
    rest = question.offsets[contacts.face] / radius - scale * heights - question.loads[contacts.face] * now
    return rows, rest


def _program(
    question: Question,
    contacts: _Contacts,
    rotation: Array,
    value: float,
    trust: float,
    radius: float,
    stance: Stance,
) -> tuple[Array | None, Array, float]:
    """Return the turn vector (3,) that gains most, the duals of the contacts (m,) and the stance's forms, the gain."""
    rows, rest = _system(question, contacts, value, radius)
    slopes, slack = stance_limits(stance, rotation)
    limits = np.zeros((len(slack), 7))
    limits[:, 1:4] = slopes
    bounds: list[tuple[float | None, float | None]] = [(None, None)] * 7
    bounds[1:4] = [(-1.0, 1.0)] * 3  # all in units of the trust, so that a solver's tolerance shrinks with it
    if stance.is_upright:
        bounds[1] = bounds[2] = (0, 0)
    gain = np.array([-1.0, 0, 0, 0, 0, 0, 0])
    found = least(gain, np.vstack([rows, limits]), np.concatenate([rest, slack]) / trust, bounds)
    if found is None:
        return None, np.zeros(len(rows) + len(limits)), 0.0
    return found.point[1:4] * trust, found.duals, float(found.point[0]) * trust


def stance_limits(stance: Stance, rotation: Array) -> tuple[Array, Array]:
    """Return rows (k, 3) and rests (k,): small turn vectors w with ``rows @ w <= rests`` keep the stance."""
    forms = stance.forms()
    rows = np.array([-_slope(form, rotation) for form, _ in forms]).reshape(-1, 3)
    return rows, np.array([max(0.0, float(np.trace(rotation @ form)) + constant) for form, constant in forms])


def _slope(form: Array, rotation: Array) -> Array:
    """Return the gradient (3,) of tr(E R X) in a small turn vector of E."""
    n = rotation @ form
    return np.array([n[1, 2] - n[2, 1], n[2, 0] - n[0, 2], n[0, 1] - n[1, 0]])


def _last_certificate(question: Question, seen: list[_Duals], radius: float, stance: Stance) -> TightBound | None:
    """Return the certificate of the last duals that give one."""
    for each in reversed(seen):
        certificate = _certificate(question, each, radius, stance)
        if certificate is not None:
            return certificate
    return None


def _certificate(question: Question, seen: _Duals, radius: float, stance: Stance) -> TightBound | None:
    """Return the certificate of the duals, made an exact dependency: a solver's rounding must not enter a proof."""
    contacts, duals, value = seen.contacts, seen.duals, seen.value
    of_contacts, of_stance = duals[: len(contacts.face)], duals[len(contacts.face) :]
    used = np.flatnonzero(of_contacts > USED * of_contacts.max(initial=0))
    if len(used) == 0:
        return None
    normals = question.normals[contacts.face[used]]
    total = float(of_contacts[used].sum())
    weights = cancelled(normals, of_contacts[used])
    if weights is None:
        return None
    faces = contacts.face[used]
    matrix = np.einsum("m,mi,mj->ij", weights, contacts.point[used], normals)
    constant, scale = 0.0, value if question.scale is None else question.scale
    limited = False
    for (form, least_form), dual in zip(stance.forms(), of_stance, strict=True):
        times = max(0.0, float(dual)) * radius / (scale * total)
        matrix, constant = matrix - times * form, constant - times * least_form
        limited |= times > 0
    return TightBound(
        matrix,
        constant,
        float(weights @ question.offsets[faces]) + 3 * question.radius * float(np.linalg.norm(weights @ normals)),
        float(weights @ question.loads[faces]),
        -1 if limited else _pair(question, faces),
    )


def _pair(question: Question, faces: Ints) -> int:
    """Return which dependency is the pair of opposite faces that these are, or −1."""
    used = np.zeros(len(question.normals), bool)
    used[faces] = True
    match = question.pairs & ((question.weights > 0) == used).all(axis=1)
    return int(match.argmax()) if match.any() else -1


def _finish(
    question: Question, points: Array, rotation: Array, value: float, stance: Stance, seen: list[_Duals]
) -> tuple[Array, float]:
    """Take away the solver's tolerance: two Newton steps on the contacts that are tight."""
    radius = float(np.linalg.norm(points, axis=1).max())
    for _ in range(0 if stance.is_upright else 2):
        contacts = _contacts(question, points, rotation, TOUCHING * radius)
        step, duals, _ = _program(question, contacts, rotation, value, _NEWTON, radius, stance)
        if step is None:
            break
        seen.append(_Duals(contacts, duals, value))
        rows, rest = _system(question, contacts, value, radius)
        tight = duals[: len(rows)] > CLOSE
        exact: Array = np.asarray(np.linalg.lstsq(rows[tight], rest[tight], rcond=None)[0], np.float64)
        moved = within_stance(turned_by(exact[1:4]) @ rotation, stance)
        gained = question.value(points, moved) - value
        if gained > 0:
            rotation, value = moved, value + gained
    return rotation, value


def _multiply(first: Array, second: Array) -> Array:
    """Return the product (4,) of two quaternions w, x, y, z."""
    w, v = first[0], first[1:]
    u, t = second[0], second[1:]
    return np.concatenate([[w * u - v @ t], w * t + u * v + np.cross(v, t)])
