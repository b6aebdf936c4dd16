"""Sections of many planes at once are those of one plane at a time, and of an exact solid."""

import numpy as np
import pytest
import shapely
from conftest import KNEELING, cuboid

import blockfit as bf
from blockfit.geometry.surface import compacted
from blockfit.measure.booleans import level_rings, solid_from
from blockfit.measure.cross_sections import Surfaces, least_of_each, section_areas, section_near, sections_of_each
from blockfit.measure.sections import area_of


def _planes(figure, seed, count):
    random = np.random.default_rng(seed)
    normals = random.normal(size=(count, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    low, high = figure.vertices.min(axis=0), figure.vertices.max(axis=0)
    return normals, random.uniform(low, high, size=(count, 3))


def sections_across(vertices, faces, normals, places):
    return sections_of_each(Surfaces.of([(vertices, faces)]), normals[None], places[None])[0]


def least_section(vertices, faces, normals, places):
    return least_of_each(Surfaces.of([(vertices, faces)]), normals[None], places[None])[0]


def _alike(one, other):
    assert (one is None) == (other is None)
    if one is None:
        return
    assert one.area_mm2 == pytest.approx(other.area_mm2, rel=1e-9)
    size = one.area_mm2**0.5
    assert one.centre == pytest.approx(other.centre, abs=1e-8 * size)
    assert one.moments == pytest.approx(other.moments, abs=1e-8 * size**4)
    for rim, of in (
        (one.rim, other.rim),
        (other.rim, one.rim),
    ):  # the same corners; one twice where a vertex lies there
        assert np.linalg.norm(rim[:, None] - of, axis=-1).min(axis=1).max() < 1e-6 * size


def _alone(figure, normal, place):
    """The part of the exact solid's section that holds a place or is nearest to it, by manifold3d and shapely."""
    turn = np.vstack([plane_axes(normal), normal])
    level = level_rings(solid_from((figure.vertices - place) @ turn.T, figure.faces), 0.0)
    parts = [part for part in getattr(area_of(level), "geoms", [area_of(level)]) if not part.is_empty]
    return min(parts, key=lambda part: (part.distance(shapely.Point(0, 0)), part.area)) if parts else None


def plane_axes(normal):
    first = np.linalg.svd(normal[None])[2][1]
    return np.stack([first, np.cross(normal, first)])


@pytest.mark.parametrize("seed", range(4))
def test_many_planes_give_what_the_exact_solid_gives(seed):
    figure = bf.read_figure(KNEELING, unit="m")
    normals, places = _planes(figure, seed, 60)
    together = sections_across(figure.vertices, figure.faces, normals, places)
    assert sum(found is not None for found in together) > 40
    for normal, place, found in zip(normals, places, together, strict=True):
        exact = _alone(figure, normal, place)
        assert (exact is None) == (found is None)
        if found is not None:
            assert found.area_mm2 == pytest.approx(exact.area, rel=1e-4, abs=1e-3)
            _alike(found, section_near(figure.vertices, figure.faces, normal, place))
    k, least = least_section(figure.vertices, figure.faces, normals, places)
    assert least.area_mm2 == min(found.area_mm2 for found in together if found is not None)
    assert together[k].area_mm2 == least.area_mm2


def test_many_surfaces_are_cut_as_each_alone():
    figure, bar = bf.read_figure(KNEELING, unit="m"), cuboid(100, 400, 60)
    each = [(figure.vertices, figure.faces), (bar.vertices, bar.faces), (figure.vertices * 0.5 + 3, figure.faces)]
    planes = [_planes(bf.Figure(*one), seed, 7) for seed, one in enumerate(each)]
    normals, places = (np.stack([pair[k] for pair in planes]) for k in range(2))
    together = sections_of_each(Surfaces.of(each), normals, places)
    least = least_of_each(Surfaces.of(each), normals, places)
    for k, (vertices, faces) in enumerate(each):
        alone = sections_across(vertices, faces, *planes[k])
        assert any(section is not None for section in alone)
        for one, other in zip(together[k], alone, strict=True):
            _alike(one, other)
        number, section = least_section(vertices, faces, *planes[k])
        assert least[k][0] == number
        _alike(least[k][1], section)


def test_planes_that_meet_nothing_have_no_section():
    bar = cuboid(100, 400, 60)
    up, past = np.tile([0.0, 0, 1], (2, 2, 1)), np.array([[[50.0, 50, 90], [50, 50, -9]], [[50, 50, 90], [50, 50, 30]]])
    assert least_of_each(Surfaces.of([(bar.vertices, bar.faces)]), up[:1], past[:1]) == [None]
    none, one = least_of_each(Surfaces.of([(bar.vertices, bar.faces)] * 2), up, past)
    assert none is None
    assert one[0] == 1
    assert one[1].area_mm2 == pytest.approx(40_000)


def test_holes_other_outlines_and_places_in_the_air():
    outer, inner = cuboid(100, 100, 100), cuboid(60, 60, 60)
    vertices = np.concatenate([outer.vertices, inner.vertices + 20])
    faces = np.concatenate([outer.faces, inner.faces[:, ::-1] + len(outer.vertices)])
    beside = np.concatenate([faces, outer.faces + len(vertices)])
    corners = np.concatenate([vertices, outer.vertices + np.array([200, 0, 0])])
    up = np.tile([0.0, 0, 1], (4, 1))
    places = np.array(
        [[50.0, 50, 50], [10, 10, 50], [240, 50, 50], [150, 50, 10]]
    )  # in the hollow, beside, in, between
    found = sections_across(corners, beside, up, places)
    assert [round(s.area_mm2, 6) for s in found] == [6400, 6400, 10000, 10000]
    for k, section in enumerate(found):
        _alike(section, section_near(corners, beside, up[k], places[k]))


def test_an_outline_that_does_not_close_is_none():
    figure = cuboid(100, 100, 100)
    vertices, faces = compacted(figure.vertices, figure.faces[2:])  # a face is lacking
    missing = {tuple(np.sort(figure.faces[k])) for k in range(2)}
    side = np.concatenate([figure.vertices[list(face)] for face in missing])
    axis = int(np.ptp(side, axis=0).argmin())
    along, across = np.eye(3)[(axis + 1) % 3], np.eye(3)[axis]
    middle = np.full((1, 3), 50.0)
    assert sections_across(vertices, faces, along[None], middle) == [None]
    assert sections_across(vertices, faces, across[None], middle)[0].area_mm2 == pytest.approx(10000)
    assert least_section(vertices, faces, along[None], middle) is None


def test_whole_sections_have_the_area_that_the_exact_solid_has():
    figure = bf.read_figure(KNEELING, unit="m")
    solid = solid_from(figure.vertices, figure.faces)
    levels = np.linspace(0.013, 0.987, 24) * figure.size_mm[2] + float(figure.vertices[:, 2].min())
    exact = [area_of(level_rings(solid, z)).area for z in levels.tolist()]  # manifold3d and shapely
    assert section_areas(figure.vertices, figure.faces, np.array([0.0, 0, 1]), levels) == pytest.approx(exact, rel=1e-6)
