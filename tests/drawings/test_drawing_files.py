"""Outlines in files: SVG, DXF, PNG and JPEG, written by other libraries or by hand, read back."""

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from conftest import cuboid, united
from drawings.silhouettes import outside_by, raster

import blockfit as bf
from blockfit.drawings.dxf import dxf_area
from blockfit.drawings.svg import svg_area

SIDE = shapely.box(0, 0, 300, 1000)
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="1000mm" viewBox="0 0 200 1000">'


def svg(tmp_path, body, head=HEAD):
    file = tmp_path / "front.svg"
    file.write_text(head + body + "</svg>", encoding="utf-8")
    return file


@pytest.mark.parametrize(
    ("body", "area", "near"),
    [
        ('<rect width="200" height="1000"/>', 200_000, 0),
        ('<rect width="200" height="1000" fill="white"/><rect width="100" height="1000"/>', 100_000, 0),
        ('<path d="M0 0H200V1000H0Z M50 50v100h100v-100z" fill-rule="evenodd"/>', 190_000, 0),
        ('<path d="M0,0 L200,0 200,1000 0,1000z M50,50 h100 v100 h-100z"/>', 200_000, 0),  # wound alike: no opening
        ('<path d="m0 0h200v1000h-200z m50 50v100h100v-100z"/>', 190_000, 0),  # wound against: an opening
        ('<g transform="translate(10 20) scale(2)"><rect width="50" height="400"/></g>', 80_000, 0),
        ('<g transform="rotate(90 100 100)"><rect width="50" height="400"/></g>', 20_000, 1e-6),
        ('<circle cx="100" cy="500" r="100"/>', math.pi * 1e4, 50),
        ('<ellipse cx="100" cy="500" rx="100" ry="50"/>', math.pi * 5e3, 50),
        ('<path d="M0 500a100 100 0 1 1 200 0a100,100 0 11-200,0z"/>', math.pi * 1e4, 50),
        ('<path d="M0 0A100 100 0 0 1 100 100L0 100z"/>', math.pi * 2500, 20),
        # A parabola by its quadratic and by the same cubic: 2/3 of its box (Archimedes).
        ('<path d="M0 0Q100 400 200 0Z"/>', 2 / 3 * 200 * 200, 60),
        ('<path d="M0 0Q50 200 100 100T200 200L0 200z"/>', None, 0),
        ('<path d="M0 0C66.6666667 266.6666667 133.3333333 266.6666667 200 0Z"/>', 2 / 3 * 200 * 200, 60),
        ('<polygon points="0,0 200,0 200,100"/>', 10_000, 0),
        ('<polyline points="0 0 200 0 200 100" fill="black"/>', 10_000, 0),
        ('<rect width="200" height="100" rx="50"/>', 100 * 100 + math.pi * 2500, 50),
        ('<rect width="200" height="1000" fill="none" stroke="black"/>'
         '<circle cx="100" cy="500" r="50" fill="none" stroke="#000"/>', 200_000 - math.pi * 2500, 250),
        ('<style>.a{fill:none} #b{display:none}</style><rect class="a" width="9" height="9"/>'
         '<rect id="b" width="99" height="99"/><rect width="10" height="10"/>', 100, 0),
        ('<defs><rect id="r" width="10" height="10"/></defs><use href="#r" x="50"/><use href="#r"/>', 200, 0),
        ('<rect width="10" height="10" style="fill:#fff;fill:#333"/><rect width="90" height="9" opacity="0"/>', 100, 0),
        ('<text>front</text><rect width="10" height="10"/>', 100, 0),
        # Lines of filled shapes are dark outside them too: 110 x 510.
        ('<rect x="50" y="50" width="100" height="500" stroke="black" stroke-width="10"/>', 110 * 510, 0),
        ('<g stroke-width="5"><rect width="10" height="10" transform="scale(2)" stroke="#111"/></g>', 900, 0),
        # A limb drawn as a thick line, with its ends cut off or drawn further.
        ('<rect width="50" height="500"/><path d="M50 99H150" stroke="red" stroke-width="40" fill="none"/>', 29_000, 0),
        ('<rect width="50" height="500"/><path d="M50 100H150" stroke="black" stroke-width="40" fill="none"'
         ' stroke-linecap="square"/>', 29_800, 0),
        ('<rect width="50" height="500"/><path d="M90 100H150" stroke="black" fill="none"/>', 25_000, 0),  # a note
        # Lines of several parts that close an outline together, by even-odd.
        ('<g fill="none" stroke="black"><path d="M0 0H200V900"/><path d="M200 900H0"/>'
         '<line y1="900"/></g>', 180_000, 0),
        # Light paint that shows what is below takes nothing away; dark paint that does counts.
        ('<rect width="100" height="100"/><rect width="50" height="100" fill="white" opacity=".5"/>', 10_000, 0),
        ('<g opacity="50%"><rect width="100" height="100"/></g>', 10_000, 0),
        ('<rect width="100" height="100"/><rect width="50" height="100" fill="white" stroke="white"/>', 5_000, 0),
        # An outline drawn twice does not vanish.
        ('<g fill="none" stroke="red" stroke-width=".2"><path d="M0 0H100V100H0Z"/><path d="M0 0V100H100V0Z"/></g>',
         10_000, 0),
        ('<g fill="none" stroke="red" stroke-width=".2"><rect width="100" height="100"/><rect x=".4" y=".4" width="100"'
         ' height="100"/></g>', 10_079.84, 1e-3),  # and shifted a little it is as large as both
        # Lines alone, black inside by default, have no inside; they enclose what they enclose together.
        ('<g stroke="black"><line x2="200"/><line x1="200" x2="200" y2="900"/><line x1="200" x2="0" y1="900" y2="900"/>'
         '<line y2="900"/></g>', 180_000, 0),
        # Outlines that cross are united; within one another they are openings and stone in turn.
        ('<g fill="white" stroke="black"><path d="M0 0H100V900H0Z"/><path d="M50 400H200V500H50Z"/></g>', 100_000, 0),
        ('<g fill="none" stroke="red"><rect width="200" height="900"/><rect x="50" y="50" width="100" height="800"/>'
         '<rect x="60" y="60" width="80" height="780"/></g>', 162_400, 0),
        # Glass takes nothing away, and is nothing.
        ('<rect width="100" height="100"/><rect width="50" height="100" fill="transparent"/>', 10_000, 0),
        ('<rect width="100" height="100"/><rect width="50" height="100" fill="rgba(255,255,255,.3)"/>', 10_000, 0),
        ('<rect width="100" height="100"/><rect width="900" height="900" fill="rgba(0,0,0,0)"/>', 10_000, 0),
        # A path there and back is a line.
        ('<rect width="50" height="500"/><path d="M50 100H150Z" stroke="red" stroke-width="40"/>', 29_000, 0),
        ('<g visibility="hidden"><rect width="90" height="90"/><rect width="10" height="10" visibility="visible"/></g>',
         100, 0),
    ],
)  # fmt: skip
def test_what_an_svg_paints_dark(tmp_path, body, area, near):
    found, millimetres, chord, _ = svg_area(svg(tmp_path, body))
    assert millimetres == 1
    if area is not None:
        assert found.area == pytest.approx(area, abs=near + 1e-6)
        assert (chord > 0) == (near > 1e-3)  # chords are stated wherever there is a curve
    assert found.is_valid


def test_an_svg_grown_by_its_chords_holds_the_curve(tmp_path):
    file = svg(tmp_path, '<circle cx="100" cy="100" r="100"/>')
    figure = bf.figure_from_outlines(front=file, side=shapely.box(0, 0, 100, 200))
    turn = np.linspace(0, 2 * np.pi, 10_001)
    middle = (figure.vertices.min(axis=0) + figure.vertices.max(axis=0)) / 2
    rim = np.stack([middle[0] + 100 * np.cos(turn), 0 * turn + middle[1], middle[2] + 100 * np.sin(turn)], axis=1)
    block = figure.vertices[:, [0, 2]]
    hull = shapely.MultiPoint(block).convex_hull.buffer(1e-9)
    assert shapely.contains_xy(hull, rim[:, [0, 2]]).all()


@pytest.mark.parametrize("seed", range(12))
def test_chords_of_a_curve_never_miss_it_by_more_than_is_stated(tmp_path, seed):
    """Random cubics, their control points far out, by de Casteljau; ellipses and arcs by their equation."""
    control = np.random.default_rng(seed).normal(0, 10 ** (seed % 3), (4, 2))
    (a, b), (c, d), (e, f), (g, h) = control.tolist()
    found, _, chord, _ = svg_area(svg(tmp_path, f'<path d="M{a} {b}C{c} {d} {e} {f} {g} {h}z"/>'))
    level = [control]
    t = np.linspace(0, 1, 5001)[:, None]
    level = [np.broadcast_to(p, (len(t), 2)) for p in control]
    while len(level) > 1:
        level = [(1 - t) * p + t * q for p, q in pairwise(level)]
    curve = shapely.points(level[0] * [1, -1])
    assert shapely.distance(found.buffer(chord), curve).max() <= 1e-9
    assert chord < 3e-3 * np.ptp(control, axis=0).max()
    rx, ry = np.random.default_rng(seed + 50).uniform(1, 300, 2)
    found, _, chord, _ = svg_area(
        svg(tmp_path, f'<ellipse rx="{rx}" ry="{ry}" transform="rotate({seed * 7}) skewX(30)"/>')
    )
    turn = np.linspace(0, 2 * np.pi, 4001)
    at = np.radians(seed * 7)
    shape = np.array([[np.cos(at), -np.sin(at)], [np.sin(at), np.cos(at)]]) @ [[1, np.tan(np.pi / 6)], [0, 1]]
    rim = np.stack([rx * np.cos(turn), ry * np.sin(turn)], axis=1) @ shape.T * [1, -1]
    assert shapely.distance(found.buffer(chord), shapely.points(rim)).max() <= 1e-9


def test_what_is_drawn_twice_or_hidden_in_a_dxf(tmp_path):
    import ezdxf

    drawing = ezdxf.new("R2010", units=4)
    space = drawing.modelspace()
    for shift in (0, 0, 0.001):
        space.add_lwpolyline([(shift, 0), (20 + shift, 0), (20 + shift, 100), (shift, 100)], close=True)
    drawing.layers.add("notes").off()
    space.add_circle((10, 50), 5, dxfattribs={"layer": "notes"})
    space.add_hatch()
    drawing.saveas(tmp_path / "a.dxf")
    area, _, _, notes = dxf_area(tmp_path / "a.dxf")
    assert area.area == pytest.approx(2000.1)  # as large as all three
    assert sorted(notes) == [
        "2 lines drawn more than once were taken once",
        "layers switched off, or things hidden on them, were left out: notes",
        "left out: 1 HATCH",
    ]


def test_blocks_placed_on_hidden_layers_and_outlines_that_cross_in_a_dxf(tmp_path):
    import ezdxf

    drawing = ezdxf.new("R2010", units=4)
    space = drawing.modelspace()
    for low, high in (((0, 0), (300, 1000)), ((200, 400), (700, 600))):
        space.add_lwpolyline([low, (high[0], low[1]), high, (low[0], high[1])], close=True)
    note = drawing.blocks.new("note")
    note.add_lwpolyline([(0, 0), (200, 0), (200, 900), (0, 900)], close=True)
    drawing.layers.add("NOTES").freeze()
    space.add_blockref("note", (50, 50), dxfattribs={"layer": "NOTES"})
    drawing.saveas(tmp_path / "a.dxf")
    area, _, _, notes = dxf_area(tmp_path / "a.dxf")
    assert area.area == pytest.approx(300 * 1000 + 500 * 200 - 100 * 200)
    assert notes == ["layers switched off, or things hidden on them, were left out: NOTES"]


@pytest.mark.parametrize("radius", [300.0, 950.0])
def test_arcs_and_splines_of_a_dxf_keep_to_the_stated_error(tmp_path, radius):
    import ezdxf

    drawing = ezdxf.new("R2010", units=4)
    space = drawing.modelspace()
    space.add_circle((0, 0), radius)
    drawing.saveas(tmp_path / "a.dxf")
    area, _, chord, _ = dxf_area(tmp_path / "a.dxf")
    turn = np.linspace(0, 2 * np.pi, 5001)
    rim = shapely.points(radius * np.stack([np.cos(turn), np.sin(turn)], axis=1))
    assert shapely.distance(area.exterior, rim).max() <= chord
    # A cubic that turns back on itself, by de Casteljau.
    control = np.array([[0, 1500 * (t - 0.125) ** 3] for t in (0, 0)] + [[1000, 900.0], [1000, 1005.0]])
    drawing = ezdxf.new("R2010", units=4)
    space = drawing.modelspace()
    space.add_open_spline([(x, y, 0) for x, y in control], degree=3)
    space.add_lwpolyline([tuple(control[-1]), (1000, 3000), (0, 3000), tuple(control[0])])
    drawing.saveas(tmp_path / "b.dxf")
    area, _, chord, _ = dxf_area(tmp_path / "b.dxf")
    t, level = np.linspace(0, 1, 2001)[:, None], [np.broadcast_to(p, (2001, 2)) for p in control]
    while len(level) > 1:
        level = [(1 - t) * p + t * q for p, q in pairwise(level)]
    assert shapely.distance(area.exterior, shapely.points(level[0])).max() <= chord


def test_an_exact_photograph_agrees_with_a_true_drawing():
    body = cuboid(400, 200, 1000, at=(-200, -100, 0))
    away, eye, focal = 3000.0, 500.0, 900
    picture = photographed(body, 0, away, eye, focal, size=(700, 700))
    bar = ((100.0, 50.0), (100.0 + focal * 500 / away, 50.0), "500 mm")
    photo = bf.Photo(picture=picture, distance=away, bar=bar, mark=(350.0, 350 + focal * eye / away))
    told = bf.figure_from_outlines(front=photo, side=shapely.box(-100, 0, 100, 1000))
    assert outside_by(told, np.asarray(body.vertices)) <= 1.5 * away / focal


def test_units_of_an_svg(tmp_path):
    bare = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 100">'
    file = svg(tmp_path, '<rect width="20" height="100"/>', bare)
    with pytest.raises(bf.UnitNeededError, match="height"):
        bf.figure_from_outlines(front=file, top=file)
    assert bf.figure_from_outlines(front=file, side=SIDE).size_mm == pytest.approx((200, 300, 1000))
    assert bf.figure_from_outlines(front=file, side=file, unit="cm").size_mm == pytest.approx((200, 200, 1000))
    inches = bare.replace("viewBox", 'width="2in" viewBox')
    assert bf.figure_from_outlines(front=svg(tmp_path, '<rect width="20" height="100"/>', inches), top=shapely.box(
        0, 0, 50.8, 9)).size_mm == pytest.approx((50.8, 9, 254))  # fmt: skip


@pytest.mark.parametrize(
    "body",
    ["", "<rect/>", '<path d="M0"/>', '<path d="L0 0 1 1"/>', '<path d="M0 0 L 1 x"/>', '<path d="M0 0H1V1L"/>',
     '<rect width="9" height="9"/><rect width="99" height="99" fill="white"/>', '<line x2="9"/>',
     '<g transform="matrix(1)"><rect width="9" height="9"/></g>', "<g>" * 70 + "</g>" * 70, "<rect",
     '<path d="M0 0H1e999V1z"/>'],
)  # fmt: skip
def test_an_svg_without_an_outline_is_refused(tmp_path, body):
    with pytest.raises(bf.BlockfitError):
        bf.figure_from_outlines(front=svg(tmp_path, body), side=SIDE)


def test_an_svg_reads_no_other_file(tmp_path):
    (tmp_path / "secret").write_text("0 0 9 9")
    file = tmp_path / "front.svg"
    file.write_text(
        f'<!DOCTYPE svg [<!ENTITY s SYSTEM "file://{tmp_path}/secret">]><svg xmlns="http://www.w3.org/2000/svg">'
        '<polygon points="&s; 0 9"/><rect width="1" height="1"/></svg>'
    )
    with pytest.raises(bf.UnreadableFileError):
        svg_area(file)


def test_a_sheet_of_our_own_can_be_read(tmp_path, kneeling):
    fit = bf.largest(kneeling, bf.Block.box(900, 700, 1600), stance=bf.Stance.upright(0))
    for kind in ("svg", "dxf"):
        bf.save_template(bf.face_sheet(fit, "front"), tmp_path / f"front.{kind}")
        area, unit, *_ = (svg_area if kind == "svg" else dxf_area)(tmp_path / f"front.{kind}")
        assert unit == 1
        assert area.area > 0


def test_dxf_lines_arcs_and_circles(tmp_path):
    import ezdxf

    drawing = ezdxf.new("R2010", units=5)  # 5: centimetres
    space = drawing.modelspace()
    space.add_lwpolyline([(0, 0), (20, 0), (20, 100), (0, 100)], close=True)
    space.add_circle((10, 50), 5)
    block = drawing.blocks.new("foot")
    block.add_line((0, 0), (4, 0))
    block.add_line((4, 3), (4, 0))
    block.add_line((4, 3), (0, 0))
    space.add_blockref("foot", (30, 0))
    space.add_arc((50, 10), 10, 0, 180)
    space.add_line((40, 10), (60, 10))
    space.add_line((70, 0), (90, 0))  # closes nothing
    space.add_text("front")
    drawing.saveas(tmp_path / "a.dxf")
    area, unit, chord, notes = dxf_area(tmp_path / "a.dxf")
    assert unit == 10
    assert chord > 0
    assert area.area == pytest.approx(20 * 100 - math.pi * 25 + 6 + math.pi * 50, abs=0.1)
    assert any("close nothing" in note for note in notes)
    (tmp_path / "bad.dxf").write_text("no drawing")
    ezdxf.new().saveas(tmp_path / "empty.dxf")
    for name in ("bad.dxf", "empty.dxf"):
        with pytest.raises(bf.BlockfitError):
            bf.figure_from_outlines(front=tmp_path / name, side=SIDE)


# ---- pictures ----


def painted(dark, tmp_path, name, ink=(30, 20, 10), ground=(235, 240, 230), noise=0.0):
    from PIL import Image

    values = np.where(dark[..., None], ink, ground).astype(float)
    values += noise * np.random.default_rng(0).normal(size=values.shape)
    Image.fromarray(np.clip(values, 0, 255).astype(np.uint8)).save(tmp_path / name)
    return tmp_path / name


def statue(tall=300, wide=140):
    row, column = np.mgrid[0:tall, 0:wide]
    dark = (abs(column - 70) < 40) & (row > 60) & (row < 290)
    dark |= (row - 45) ** 2 + (column - 70) ** 2 < 30**2
    dark &= ~((row - 150) ** 2 + (column - 70) ** 2 < 15**2)
    return dark


def test_pictures_give_what_their_pixels_show(tmp_path):
    dark = statue()
    side = np.ones((100, 30), bool)
    expected = bf.figure_from_outlines(front=dark, side=side, height=1000)
    png = bf.figure_from_outlines(front=painted(dark, tmp_path, "a.png", noise=12), side=side, height=1000)
    white = painted(dark, tmp_path, "w.png", ink=(250, 250, 250), ground=(20, 30, 20))
    assert png.volume_m3 == pytest.approx(expected.volume_m3, rel=1e-9)
    assert bf.figure_from_outlines(front=white, side=side, height=1000).volume_m3 == png.volume_m3
    jpeg = bf.figure_from_outlines(front=painted(dark, tmp_path, "a.jpg"), side=side, height=1000)
    assert jpeg.volume_m3 == pytest.approx(expected.volume_m3, rel=0.01)
    assert any("square on" in repair.text for repair in png.repairs)  # what to expect of a photograph


def test_transparent_pictures_and_specks(tmp_path):
    from PIL import Image

    dark = statue()
    dirty = dark.copy()
    dirty[2, 2] = True
    values = np.zeros((*dark.shape, 4), np.uint8)
    values[..., 3] = 255 * dirty
    Image.fromarray(values).save(tmp_path / "a.png")
    figure = bf.figure_from_outlines(front=tmp_path / "a.png", side=np.ones((9, 3), bool), height=1000)
    clean = bf.figure_from_outlines(front=dark, side=np.ones((9, 3), bool), height=1000)
    assert figure.volume_m3 == pytest.approx(clean.volume_m3)
    assert any("1 specks left out" in repair.text for repair in figure.repairs)


def test_line_drawings_are_filled_when_asked(tmp_path):
    row, column = np.mgrid[0:300, 0:300]
    far = np.hypot(row - 150, column - 150)
    drawing = (abs(far - 140) < 2) | (abs(far - 60) < 2)
    file = painted(drawing, tmp_path, "a.png")
    with pytest.raises(bf.BadValueError, match="lines=True"):
        bf.figure_from_outlines(front=file, side=SIDE, height=1000)
    figure = bf.figure_from_outlines(front=file, side=SIDE, height=1000, lines=True)
    ring = (far < 142) & (far >= 58)  # the lines count as stone, within and without
    expected = bf.figure_from_outlines(front=ring, side=SIDE, height=1000)
    assert figure.volume_m3 == pytest.approx(expected.volume_m3, rel=0.01)


def test_pictures_that_show_no_outline(tmp_path):
    half = np.zeros((40, 40), bool)
    half[:, :20] = True
    (tmp_path / "bad.png").write_bytes(b"\x89PNG\r\n\x1a\nrubbish")
    blank = painted(np.zeros((40, 40), bool), tmp_path, "blank.png")
    for file in (painted(half, tmp_path, "half.png"), tmp_path / "bad.png", blank, tmp_path):
        with pytest.raises(bf.BlockfitError):
            bf.figure_from_outlines(front=file, side=SIDE, height=1000)
    with pytest.raises(bf.BadValueError, match="threshold"):
        bf.figure_from_outlines(front=painted(statue(), tmp_path, "a.png"), side=SIDE, height=9, threshold=3)


# ---- photographs ----


def photographed(figure, angle, away, eye, focal=450, size=(300, 240)):
    """A pinhole's picture of a figure: its lens ``away`` from the z axis, ``eye`` up, looking level; (h, w)."""
    right = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle)), 0])
    towards = np.cross(right, [0, 0, 1])
    places = figure.vertices
    depth = away - places @ towards
    u, v = focal * (places @ right) / depth, focal * (places[:, 2] - eye) / depth
    tall, wide = size
    return raster(np.stack([u, v], axis=1), figure.faces, 1.0, np.array([-wide / 2, -tall / 2]), size)


@pytest.mark.thorough
def test_photographs_that_are_fully_known_are_exact_cones(kneeling):
    scale = 1000 / kneeling.size_mm[2]
    middle = (kneeling.vertices.min(axis=0) + kneeling.vertices.max(axis=0)) / 2
    vertices = scale * (kneeling.vertices - [middle[0], middle[1], kneeling.vertices[:, 2].min()])
    figure = bf.Figure(vertices, kneeling.faces)
    away, eye, focal = 3000.0, 600.0, 450
    photos = {}
    for name, angle in (("front", 0), ("side", -90)):
        picture = photographed(figure, angle, away, eye, focal)
        low = 150 + focal * eye / away
        bar = ((100.0, 50.0), (100.0 + focal * 500 / away, 50.0), "500 mm")
        photos[name] = bf.Photo(picture=picture, distance=away, bar=bar, mark=(120.0, low))
    hull = bf.figure_from_outlines(**photos)
    pixel = away / focal
    assert outside_by(hull, vertices) <= 1.5 * pixel
    # Taken as seen square on, the same pictures lose parts of the figure by far more.
    flat = bf.figure_from_outlines(**{name: photo.picture for name, photo in photos.items()}, height=1000)
    assert outside_by(flat, vertices) > 3 * pixel
    with_side = bf.figure_from_outlines(
        **photos, three_quarter=(45, bf.Photo(
            picture=photographed(figure, 45, away, eye, focal), distance=away, bar=photos["front"].bar,
            mark=photos["front"].mark)),
    )  # fmt: skip
    assert outside_by(with_side, vertices) <= 1.5 * pixel
    assert with_side.volume_m3 < hull.volume_m3


def test_a_photograph_with_less_says_so_and_keeps_a_margin():
    picture = np.ones((100, 50), bool)
    side = np.ones((100, 40), bool)
    bare = bf.figure_from_outlines(front=picture, side=side, height=1000)
    known = bf.figure_from_outlines(front=bf.Photo(picture=picture, distance="4 m"), side=side, height=1000)
    assert known.margin_mm > bare.margin_mm
    leaning = np.zeros((120, 120), bool)
    leaning[10:110, 55:65] = True
    tilted = bf.Photo(picture=leaning, bar=((0, 0), (0, 100), 500), plumb=((10, 110), (20, 10)))
    turned = bf.figure_from_outlines(front=tilted, top=np.ones((5, 9), bool))
    angle = math.atan2(10, 100)
    assert turned.size_mm[2] == pytest.approx(5 * (100 * math.cos(angle) + 10 * math.sin(angle)))


def step(wide, deep, tall_at):
    """A block 1000 mm tall over the third of its depth nearest to ``tall_at`` (-1 the front), 400 mm elsewhere."""
    low = cuboid(wide, deep, 400, at=(-wide / 2, -deep / 2, 0))
    from_y = -deep / 2 if tall_at < 0 else deep / 6
    return united(low, cuboid(wide * 0.6, deep / 3, 1000, at=(-wide * 0.3, from_y, 0)))


@pytest.mark.parametrize("tall_at", [-1, 1])
@pytest.mark.parametrize(("wide", "deep"), [(300, 900), (700, 250), (300, 1500)])
def test_with_the_distance_alone_the_margin_holds_what_perspective_did(wide, deep, tall_at):
    """Deeper than wide, wider than deep, their height at the front or at the back: no corner beyond hull and margin."""
    body = step(wide, deep, tall_at)
    away, eye, focal = 2500.0, 700.0, 600
    photo = bf.Photo(picture=photographed(body, 0, away, eye, focal, size=(500, 500)), distance=away)
    shown = np.asarray(body.vertices)[:, 1:] * [-1, 1]
    side = shapely.union_all([shapely.MultiPoint(shown[np.array(face)]).convex_hull for face in body.faces])
    told = bf.figure_from_outlines(front=photo, side=side, height=1000)
    assert outside_by(told, np.asarray(body.vertices)) <= told.margin_mm
    assert told.margin_mm < 1.5 * 1000 * (deep / 2) / (away - deep / 2) + 10 * away / focal


def test_a_distance_that_lies_within_the_figure_is_refused():
    photo = bf.Photo(picture=np.ones((100, 30), bool), distance=700)
    with pytest.raises(bf.BadValueError, match="within the figure, which is"):
        bf.figure_from_outlines(front=photo, side=np.ones((100, 140), bool), height=1000)


@pytest.mark.parametrize(
    "wrong",
    [{"bar": (1, 2, 3)}, {"bar": ((0, 0), (0, 0), 5)}, {"distance": 0}, {"mark": "here"}, {"centre": (1, math.inf)},
     {"plumb": ((1, 1), (1, 1))}],
)  # fmt: skip
def test_what_a_photograph_cannot_be(wrong):
    with pytest.raises(bf.BlockfitError):
        bf.Photo(picture=np.ones((2, 2), bool), **wrong)
