"""The yard's list as it is read: units, prices, numbers written in many ways, and every mistake named."""

import json

import pytest

import blockfit as bf
from blockfit.intake.yard_file import read_blocks
from blockfit.units import length_mm, number_of

LIST = """name,width (in),depth,height_mm,stone,skin,price per m3,density,note
A-1,36,30 in,1500,marble,15 mm,800,,by the gate
A-2,40,900mm,1600,,0 mm,900,2650,weighed
=A3,20,500 mm,900,limestone,0 mm,500,,
"""


def test_units_in_headings_and_cells(tmp_path):
    (tmp_path / "yard.csv").write_text(LIST, encoding="utf-8")
    first, second, third = bf.read_blocks(tmp_path / "yard.csv")
    assert first.size_mm == pytest.approx((914.4, 762, 1500))
    assert first.skin_mm.max() == 15
    assert first.price == pytest.approx(800 * 0.9144 * 0.762 * 1.5)
    assert second.stone.density_kg_m3 == 2650
    assert second.stone.low_kg_m3 == second.stone.high_kg_m3
    assert third.name == "=A3"


def test_json_and_prices_by_weight(tmp_path):
    rows = [
        {"name": "q", "width": "1 m", "depth": "1 m", "height": "1 m", "stone": "granite", "price": "200 per tonne"}
    ]
    (tmp_path / "yard.json").write_text(json.dumps(rows), encoding="utf-8")
    (block,) = bf.read_blocks(tmp_path / "yard.json")
    assert block.price == pytest.approx(200 * 2.7)


def test_every_mistake_is_told_at_once(tmp_path):
    text = (
        "name,width,depth,height,stone,colour\na,900,1 m,1 m,marble,\nb,1 m,1 m,-1 m,marbel,\nc,1 m,1 m,1 m,marble,\n"
    )
    (tmp_path / "bad.csv").write_text(text + "d,1 m,1 m,1 m,marble,red\n", encoding="utf-8")
    with pytest.raises(bf.BadValueError) as told:
        bf.read_blocks(tmp_path / "bad.csv")
    words = str(told.value)
    for said in ("line 2", "'900'", "line 3", "'-1 m'", "did you mean marble", "line 5", "'colour'"):
        assert said in words, said
    assert [block.name for block in bf.read_blocks(tmp_path / "bad.csv", skip_bad=True)] == ["c"]


@pytest.mark.parametrize("text", ["", "name\n", "width,depth,height\n", "[1, 2]", "\x00\x00", '{"width": 3}'])
def test_files_that_are_no_yard(tmp_path, text):
    for name in ("y.csv", "y.json"):
        (tmp_path / name).write_text(text, encoding="utf-8")
        with pytest.raises(bf.BlockfitError):
            bf.read_blocks(tmp_path / name)
    with pytest.raises(bf.UnreadableFileError):
        bf.read_blocks(tmp_path / "missing.csv")


LISTS = {
    "width,depth,height\n100,200,300,400\n": "1 more cells than headings",
    "width (mm),width_mm,depth (mm),height (mm)\n900,900,700,800\n": "says width again",
    "width (mm),depth (mm),height (mm),density\n900,700,800,99999\n": "should be a density",
    "width (mm),depth (mm),height (mm),bed\n900,700,800,w\n": "x, y or z",
    "width (mm),depth (mm),height (mm),price\n900,700,800,900 per tonne\n": "needs a stone or a density",
}


@pytest.mark.parametrize("text", LISTS)
def test_mistakes_in_a_list_name_what_was_expected(text, tmp_path):
    (tmp_path / "yard.csv").write_text(text, encoding="utf-8")
    with pytest.raises(bf.BlockfitError) as caught:
        read_blocks(tmp_path / "yard.csv")
    assert LISTS[text] in str(caught.value)
    assert "line 2" in str(caught.value)


def test_a_list_says_the_bed_and_prices_per_block_and_per_volume(tmp_path):
    lines = "width (mm),depth (mm),height (mm),bed,price\n1000,1000,1000,Z,2400\n1000,1000,500,y,900 per m3\n"
    (tmp_path / "yard.csv").write_text(lines, encoding="utf-8")
    first, second = read_blocks(tmp_path / "yard.csv")
    assert (first.bed, first.price, second.bed, second.price) == ("z", 2400, "y", pytest.approx(450))
    (tmp_path / "yard.json").write_text('[{"width": true, "depth": "1 m", "height": "1 m"}]', encoding="utf-8")
    with pytest.raises(bf.BlockfitError, match="no length"):
        read_blocks(tmp_path / "yard.json")


@pytest.mark.parametrize("text", ["1,500", "2,000", "999,999"])
def test_a_number_that_can_be_read_in_two_ways_shows_both(text, tmp_path):
    small, large = text.replace(",", "."), text.replace(",", "")
    for ask in (lambda: number_of(text), lambda: length_mm(f"{text} mm")):
        with pytest.raises(bf.BadValueError, match=f"{float(small):g} or as {large}"):
            ask()
    (tmp_path / "y.csv").write_text(f'width (mm),depth (mm),height (mm)\n"{text}",900,900\n')
    with pytest.raises(bf.BadValueError, match=f"{float(small):g} or as {large}"):
        bf.read_blocks(tmp_path / "y.csv")
    (tmp_path / "p.csv").write_text(f'width (mm),depth (mm),height (mm),price\n900,900,900,"{text}"\n')
    with pytest.raises(bf.BadValueError, match=large):
        bf.read_blocks(tmp_path / "p.csv")


@pytest.mark.parametrize(
    ("cell", "unit", "mm"),
    [
        ("30 1/2", "in", 774.7), ("1/2", "in", 12.7), ("1,5", "m", 1500), ("0,500", "m", 500), ("1500.0", "mm", 1500),
        ("1,500.0", "mm", 1500), ("1.500,0", "mm", 1500), ("1 500", "mm", 1500), ("1'500", "mm", 1500),
        ("12,25", "in", 311.15),
        ("1.5e3", "mm", 1500), ("30 1/2 in", "mm", 774.7), ("2 ft 6 in", "mm", 762),
        ("1.500", "m", 1500),
    ],
)  # fmt: skip
def test_numbers_in_cells_as_people_write_them(cell, unit, mm, tmp_path):
    (tmp_path / "y.csv").write_text(f'width ({unit}),depth (mm),height (mm)\n"{cell}",900,900\n')
    assert bf.read_blocks(tmp_path / "y.csv")[0].size_mm[0] == pytest.approx(mm)


def test_a_dot_that_groups_thousands_is_asked_about(tmp_path):
    (tmp_path / "y.csv").write_text("width (mm);depth (mm);height (mm)\n1.500;900;900\n")
    with pytest.raises(bf.BadValueError, match="1.5 or as 1500"):
        bf.read_blocks(tmp_path / "y.csv")


HEADING = "name;width (mm);depth (mm);height (mm);stone\n"


@pytest.mark.parametrize(
    "data",
    [
        (HEADING + "Grün;900;700;1600;marble\n;;;;\n \n").encode(),
        ("sep=;\r\n" + HEADING + "Grün;900;700;1600;marble\n").encode("utf-8-sig"),
        (HEADING + "Grün;900;700;1600;marble\n;;;;\n").replace(";", "\t").encode("utf-16"),
        (HEADING + "Grün;1'500 mm;700;1600;marble\n").replace("1'500 mm", "900,0").encode("utf-16"),
    ],
    ids=["blank rows", "sep", "utf-16 with tabs", "utf-16"],
)
def test_lists_as_spreadsheets_write_them(tmp_path, data):
    (tmp_path / "yard.csv").write_bytes(data)
    (block,) = bf.read_blocks(tmp_path / "yard.csv")
    assert (block.name, block.size_mm, block.stone.name) == ("Grün", (900, 700, 1600), "marble")


def test_places_are_those_of_the_file(tmp_path):
    (tmp_path / "yard.csv").write_text("sep=;\n" + HEADING + ";;;;\nA;0;700;1600;\n")
    with pytest.raises(bf.BadValueError, match="line 4"):
        bf.read_blocks(tmp_path / "yard.csv")


def test_an_older_code_is_refused_with_the_way_out(tmp_path):
    for name in ("yard.csv", "yard.json"):
        (tmp_path / name).write_bytes((HEADING + "Grün;900;700;1600;\n").encode("latin-1"))
        with pytest.raises(bf.UnreadableFileError, match="save it again"):
            bf.read_blocks(tmp_path / name)
