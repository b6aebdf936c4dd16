"""Every fit can write its proof down, and an exact checker confirms it."""

import zipfile
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from certificate_cases import random_case
from conftest import WEDGE, slow_after
from regular import SOLIDS

import blockfit as bf

FIGURE = bf.Figure.from_points(np.random.default_rng(8).normal(size=(20, 3)) * [60, 50, 110])
BLOCKS = {"box": bf.Block.box(800, 600, 1200), "wedge": WEDGE}
STANCES = {
    "free": bf.Stance.free(), "upright": bf.Stance.upright(40), "leaning": bf.Stance.leaning(15, 100),
    "no turn": bf.Stance.leaning(20, 0), "fixed": bf.Stance.fixed(),
}  # fmt: skip


def proved(fit, block):
    found = bf.verify(fit.certificate, fit.figure, block)
    assert found.valid, found.reason
    assert found.bound == fit.certificate.bound
    assert found.cells == len(fit.certificate.leaves)
    return fit.certificate


CELLS = [
    pytest.param(kind, stance, marks=[pytest.mark.slow] if (kind, stance) == ("wedge", "free") else [])
    for kind in BLOCKS
    for stance in STANCES
]


@pytest.mark.parametrize(("kind", "stance"), CELLS)
def test_every_question(kind, stance):
    block, asked = BLOCKS[kind], {"cover": 10, "stance": STANCES[stance], "gap": 1e-3, "certificate": True}
    fit = bf.largest(FIGURE, block, **asked)
    certificate = proved(fit, block)
    assert certificate.question == "largest"
    assert fit.scale == certificate.value <= fit.scale_bound == certificate.bound <= fit.scale * (1 + 1e-3 + 1e-9)
    for seek in ("cover", "setback"):
        safe = bf.safest(FIGURE, block, scale=0.7 * fit.scale, seek=seek, **asked)
        bound, value = (
            (safe.cover_bound_mm, safe.cover_mm) if seek == "cover" else (safe.setback_bound_mm, safe.setback_mm)
        )
        certificate = proved(safe, block)
        assert (certificate.question, certificate.bound) == (seek, bound)
        # Where faces that give nothing pinch it, no placement holds to the last bit, and none is claimed.
        assert certificate.value == value or np.isnan(certificate.value)
        assert value <= bound <= value + 1.001e-3 * min(block.size_mm)
    short = bf.safest(FIGURE, block, scale=1.3 * fit.scale, **asked)
    assert short.verdict is bf.Verdict.CANNOT_FIT
    assert proved(short, block).question == "short"
    assert short.certificate.bound < 0


def test_nothing_is_written_unless_asked():
    assert bf.largest(FIGURE, BLOCKS["box"], stance=bf.Stance.fixed()).certificate is None


def test_a_placement_holds_to_the_last_bit():
    """By plain fractions: every vertex of the placed figure in every face, as the certificate gives the placement."""
    block = WEDGE
    fit = bf.largest(FIGURE, block, stance=bf.Stance.leaning(30), gap=1e-3, certificate=True)
    q, x = ([Fraction(float(v)) for v in a] for a in (fit.certificate.turn, fit.certificate.shift_mm))
    w, u = q[0], q[1:]
    for vertex in FIGURE.vertices:
        p = [Fraction(float(v)) for v in vertex]
        inner = [a + w * b for a, b in zip(cross(u, p), p, strict=True)]
        turned = [a + 2 * b / sum(c * c for c in q) for a, b in zip(p, cross(u, inner), strict=True)]
        place = [Fraction(fit.scale) * a + b for a, b in zip(turned, x, strict=True)]
        for normal, offset in zip(block.normals, block.sound_mm, strict=True):
            assert sum(Fraction(float(n)) * c for n, c in zip(normal, place, strict=True)) <= Fraction(float(offset))


def cross(a, b):
    return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]


@pytest.mark.parametrize("seed", slow_after(6, range(80)))
def test_random_questions(seed):
    _, block, asked = random_case(seed)
    proved(asked(), block)


@pytest.mark.parametrize(("inner", "outer"), [("tetrahedron", "cube"), ("octahedron", "cube")])
def test_regular_solids(inner, outer):
    block = bf.Block.convex(SOLIDS[outer] * 1000)
    fit = bf.largest(bf.Figure.from_points(SOLIDS[inner] * 1000), block, gap=1e-3, certificate=True)
    assert proved(fit, block).cells < fit.cells  # a certificate is smaller than the search that led to it


def test_a_block_stood_on_other_faces():
    block = bf.Block.box(1600, 700, 900, skin=4)
    asked = {"stance": bf.Stance.upright(30), "stands_on": "any", "cover": {"bottom": 0, "other": 20}}
    fit = bf.largest(FIGURE, block, certificate=True, **asked)
    assert len(proved(fit, block).ways) > 1


def test_no_room_at_all():
    block = bf.Block.box(100, 100, 100)
    fit = bf.largest(FIGURE, block, cover=60, certificate=True)
    assert fit.verdict is bf.Verdict.CANNOT_FIT
    assert proved(fit, block).bound == 0


def test_no_more_than_wanted():
    fit = bf.largest(FIGURE, BLOCKS["box"], scales=(0, 0.5), certificate=True)
    assert proved(fit, BLOCKS["box"]).bound == 0.5


def test_a_valid_proof_says_what_it_is_about():
    """One of a smaller question is as valid: whoever checks must be able to read which it is."""
    fit = bf.largest(
        FIGURE, BLOCKS["box"], scales=(0, 0.5), cover=7, stance=bf.Stance.leaning(10, 20), certificate=True
    )
    said = bf.verify(fit.certificate, FIGURE, BLOCKS["box"]).reason
    assert all(
        word in said for word in ("leaned up to 10°", "turned up to 20°", "cover 7.0 mm", "above 0.5 were not asked")
    )
    stood = bf.largest(FIGURE, BLOCKS["box"], stands_on="left", stance=bf.Stance.fixed(), certificate=True)
    assert "stood in" in bf.verify(stood.certificate, FIGURE, BLOCKS["box"]).reason


def test_a_figure_too_large_for_the_scale_wanted():
    fit = bf.largest(FIGURE, BLOCKS["box"], scales=(50, np.inf), certificate=True)
    assert fit.verdict is bf.Verdict.CANNOT_FIT
    assert proved(fit, BLOCKS["box"]).bound < 50


def test_a_file_is_what_was_saved(tmp_path):
    block = BLOCKS["wedge"]
    fit = bf.largest(FIGURE, block, stance=bf.Stance.upright(40), certificate=True)
    path = fit.certificate.save(tmp_path / "kneeling.proof")
    again = bf.read_certificate(path)
    for name in again.__dataclass_fields__:
        assert np.array_equal(getattr(again, name), getattr(fit.certificate, name)), name
    assert bf.verify(path, FIGURE, block) == bf.verify(fit.certificate, FIGURE, block)
    assert path.read_bytes() == fit.certificate.as_bytes()
    assert list(tmp_path.iterdir()) == [path]
    with np.load(path) as plain:  # nothing of blockfit is needed to read it
        assert set(plain) == set(again.__dataclass_fields__)


_HEADER = b"{'descr': '<f8', 'fortran_order': False, 'shape': (9999999999999, 99), }".ljust(117) + b"\n"
VAST = b"\x93NUMPY\x01\x00" + len(_HEADER).to_bytes(2, "little") + _HEADER  # an array of 8 PB, without any of it


def test_files_that_hold_no_certificate(tmp_path):
    good = bf.largest(FIGURE, BLOCKS["box"], stance=bf.Stance.fixed(), certificate=True).certificate
    path = good.save(tmp_path / "a.proof")
    whole = path.read_bytes()
    for name, body in {"cut": whole[: len(whole) // 2], "text": b"hello", "empty": b""}.items():
        (tmp_path / f"{name}.proof").write_bytes(body)
        with pytest.raises(bf.UnreadableFileError):
            bf.verify(tmp_path / f"{name}.proof", FIGURE, BLOCKS["box"])
    with zipfile.ZipFile(tmp_path / "lacks.proof", "w") as package:
        package.writestr("bound.npy", b"")
    with zipfile.ZipFile(path) as kept, zipfile.ZipFile(tmp_path / "vast.proof", "w") as package:
        for part in kept.namelist():
            package.writestr(part, VAST if part == "form.npy" else kept.read(part))
    for odd in ("lacks.proof", "nowhere.proof", "vast.proof"):
        with pytest.raises(bf.UnreadableFileError):
            bf.read_certificate(tmp_path / odd)
    with pytest.raises(bf.UnreadableFileError, match="of the form"):
        bf.read_certificate(replace(good, form="another").save(tmp_path / "b.proof"))
    named = good.save(tmp_path / "any name")
    assert bf.verify(named, FIGURE, BLOCKS["box"]).valid
    with pytest.raises(bf.UnreadableFileError, match="cannot be written"):
        good.save(tmp_path / "no folder" / "a.proof")


def test_a_damaged_file_is_refused_or_no_proof(tmp_path):
    """Any single byte changed: the file cannot be read, or says the same, or does not verify."""
    good = bf.largest(FIGURE, BLOCKS["box"], stance=bf.Stance.upright(), certificate=True).certificate
    whole = good.as_bytes()
    random = np.random.default_rng(2)
    for at in random.integers(0, len(whole), 60):
        body = bytearray(whole)
        body[at] ^= 1 << int(random.integers(8))
        path = tmp_path / "bent.proof"
        path.write_bytes(bytes(body))
        try:
            read = bf.read_certificate(path)
        except bf.UnreadableFileError:
            continue
        same = all(np.array_equal(getattr(read, name), getattr(good, name)) for name in read.__dataclass_fields__)
        assert same or not bf.verify(read, FIGURE, BLOCKS["box"]).valid
