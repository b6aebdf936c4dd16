"""A second checker in plain fractions, written from the description of the file alone, for what is simple: the largest
scale, the block as it was given, dependencies that cancel exactly, limits of the stance whose cosines are rational."""

from fractions import Fraction as Fr
from itertools import product

COS2 = {0: Fr(1), 60: Fr(3, 4), 90: Fr(1, 2), 120: Fr(1, 4)}  # of half the angle
ONE, I, K = [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]  # noqa: E741


def exact(a):
    return [exact(x) for x in a] if getattr(a, "ndim", 0) else Fr(float(a))


def times(p, q):
    (a, b, c, d), (w, x, y, z) = p, q
    vector = [a * x + b * w + c * z - d * y, a * y - b * z + c * w + d * x, a * z + b * y - c * x + d * w]
    return [a * w - b * x - c * y - d * z, *vector]


def form(u, v, contacts, scale, limits):
    """The symmetric product of two quaternions by F: n·(u p v*) stands for n·R p."""
    back, dot = [v[0], -v[1], -v[2], -v[3]], sum(x * y for x, y in zip(u, v, strict=True))
    turned = [(w, n, b, times(times(u, [0, *p]), back)[1:]) for w, n, b, p in contacts]
    kept = sum(w * (scale * sum(x * y for x, y in zip(n, r, strict=True)) - b * dot) for w, n, b, r in turned)
    return kept - sum(m * g * x * y for m, diagonal in limits for g, x, y in zip(diagonal, u, v, strict=True))


def proves(c):
    """Whether the trees and statements of a certificate, as `numpy.load` reads them, prove its bound."""
    n, p, limits, (tilt, turn) = exact(c["normals"]), exact(c["points"]), exact(c["limits"]), map(int, c["stance"])
    b = [
        o - k - m
        for o, k, m in zip(*(exact(a) for a in (c["offsets_mm"], c["skin_mm"], c["cover_mm"][0])), strict=True)
    ]
    stance = [[s - COS2.get(tilt, s) for s in (1, 0, 0, 1)], [1 - COS2.get(turn, 1), 0, 0, -COS2.get(turn, 0)]]
    is_box = tilt == turn == 180 and all(sum(x != 0 for x in normal) == 1 for normal in n)
    charts = [(ONE, ONE)] if is_box else [(h, f) for h in (ONE, K) for f in ([ONE] if tilt == 0 else [ONE, I])]
    nodes, leaves, scale = iter(c["nodes"].tolist()), iter(c["leaves"].tolist()), exact(c["bound"])
    for number, (h, f) in enumerate(charts):
        boxes = [[(Fr(-e), Fr(e)) for e in (number != 0 or turn != 0, tilt != 0, tilt != 0)]]
        while boxes:
            box, axis = boxes.pop(), next(nodes)
            if axis < 3:
                (low, high), middle = box[axis], sum(box[axis]) / 2
                boxes += [[*box[:axis], half, *box[axis + 1 :]] for half in ((middle, high), (low, middle))]
                continue
            which = next(leaves)
            used = [
                (exact(c["weights"][m]), int(c["rows"][m]), p[c["which"][m]])
                for m in range(*c["starts"][which : which + 2])
            ]
            if (
                any(sum(w * n[face][k] for w, face, _ in used) for k in range(3))
                or min([w for w, _, _ in used], default=0) < 0
            ):
                return False
            contacts, left = [(w, n[face], b[face], point) for w, face, point in used], exact(c["frames"][0])
            sums = dict.fromkeys(product(range(3), repeat=3), Fr(0))
            ends = {}
            for at in product((0, 1), repeat=3):
                t, y, z = (box[k][up] for k, up in enumerate(at))
                ends[at] = times(times(times(left, h), times([1, 0, 0, t], [1, y, z, 0])), f)
            for u, v in product(ends, repeat=2):
                total = form(ends[u], ends[v], contacts, scale, list(zip(limits[which], stance, strict=True)))
                sums[tuple(x + y for x, y in zip(u, v, strict=True))] += total
            if min(sums.values()) <= 0 or min(limits[which]) < 0:
                return False
    return next(nodes, None) is None and next(leaves, None) is None
