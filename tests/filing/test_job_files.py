"""The job file: exact, whole or not at all, and nothing that was written to harm gets in."""

import contextlib
import dataclasses
import hashlib
import io
import json
import os
import pickle
import struct
import subprocess
import sys
import time
import warnings
import zipfile
from dataclasses import replace
from enum import Enum
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from conftest import HERE, cuboid
from filing.same_values import same
from hypothesis import given
from hypothesis import strategies as st

import blockfit as bf
from blockfit.filing.package import SCHEMA
from blockfit.filing.values import Known, Reader, Writer

CORPUS = HERE / "data" / "jobs"
NEWEST = CORPUS / f"schema-{SCHEMA}.blockfit"


@pytest.fixture
def job(tmp_path):
    """A small job on file, saved four times."""
    path = tmp_path / "brick.blockfit"
    bf.largest(cuboid(200, 100, 50), bf.Block.box(300, 300, 300)).save(path)
    for k in range(3):
        bf.open_job(path).noted("note", f"day {k}").save()
    return path


def round_trip(value):
    """A value written as JSON text and read back, by the classes that job files know."""
    from blockfit.jobs.classes import KNOWN

    writer = Writer()
    text = json.dumps(writer.plain(value), allow_nan=False)
    return Reader(KNOWN, SCHEMA, writer.surfaces.__getitem__).value(json.loads(text))


# ---- exact to the last bit ----


@given(st.floats(allow_nan=False) | st.integers() | st.booleans() | st.none() | st.text())
def test_plain_values_come_back_to_the_last_bit(value):
    back = round_trip(value)
    assert type(back) is type(value)
    assert pickle.dumps(back) == pickle.dumps(value)


@given(st.lists(st.floats(width=64), max_size=20), st.sampled_from(["float64", "int64", "bool"]))
def test_arrays_come_back_to_the_last_bit(numbers, kind):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        array = np.nan_to_num(np.array(numbers), nan=np.nan, posinf=np.inf).astype(kind)
    back = round_trip(array)
    assert (back.dtype, back.shape) == (array.dtype, array.shape)
    assert np.array_equal(back, array, equal_nan=kind == "float64")
    assert np.array_equal(np.signbit(back), np.signbit(array)) or kind != "float64" or np.isnan(array).any()
    assert not back.flags.writeable


def some_fits():
    brick = cuboid(200, 100, 50)
    corner = bf.Block.convex([[0, 0, 0], [900, 0, 0], [0, 900, 0], [0, 0, 900], [500, 500, 500]], stone="granite")
    lying = bf.Block.box(300, 200, 400, bed="x", stone=bf.Stone("ours", 2310, 2290, 2330, source="weighed"))
    rough = bf.Block.scanned(cuboid(400, 300, 500), stone="limestone")
    crack = bf.Flaw.disc((380, 280, 480), (0, 1, 1), 10, margin=5)
    by_hand = bf.Figure.from_points(np.random.default_rng(3).normal(size=(30, 3)) * 100, tolerance="3 mm")
    yield bf.largest(brick, corner)
    yield bf.safest(brick, lying, scale=0.7, stance=bf.Stance.upright(30), stands_on="any", layers="level")
    yield bf.largest(brick, bf.Block.box(300, 200, 400), cover={"bottom": 0, "other": 190})  # no room at all
    yield bf.largest(by_hand, bf.Block.box(300, 200, 400), stance=bf.Stance.leaning(15, turn=30))
    yield replace(
        bf.largest(brick, rough.with_flaws(crack), stance=bf.Stance.fixed(), gap=1e-2), kept_mm=(("crack", 0.1),)
    )
    yield bf.smallest_block(brick, cover=20).fit


@pytest.mark.thorough
def test_fits_come_back_to_the_last_bit(tmp_path):
    for k, fit in enumerate(some_fits()):
        path = tmp_path / f"{k}.blockfit"
        fit.save(path)
        back = bf.open_job(path).fit
        same(fit, back)
        assert repr(back) == repr(fit)


def test_the_opened_fit_answers_as_the_saved_one(tmp_path):
    fit = bf.largest(cuboid(200, 100, 50), bf.Block.box(400, 400, 300, stone="marble"), cover=20)
    fit.save(tmp_path / "a.blockfit")
    back = bf.open_job(tmp_path / "a.blockfit").fit
    assert bf.setback(back).back_mm == bf.setback(fit).back_mm
    assert str(bf.roughing(back)) == str(bf.roughing(fit))
    assert bf.answer(back.figure, back.block, back.ask).scale == fit.scale
    assert hash(back.ask) == hash(fit.ask)


@pytest.mark.slow
def test_everything_that_is_worked_out_comes_back_to_the_last_bit(tmp_path):
    from jobs.corpus import whole_job

    job = whole_job()
    job.save(tmp_path / "whole.blockfit")
    back = bf.open_job(tmp_path / "whole.blockfit")
    for name in ("fit", "plan", "points", "planes", "stage", "log", "asked"):
        same(getattr(job, name), getattr(back, name), name)
    assert str(back.points) == str(job.points)
    assert str(back.planes[0]) == str(job.planes[0])
    assert str(back.log[-1].about) == str(job.log[-1].about)


def test_a_figure_knows_its_file(tmp_path, kneeling):
    body = (HERE / "data" / "kneeling.stl").read_bytes()
    assert (kneeling.source, kneeling.source_sha256) == ("kneeling.stl", hashlib.sha256(body).hexdigest())
    bf.largest(kneeling, bf.Block.box(900, 700, 1600)).save(tmp_path / "k.blockfit")
    back = bf.open_job(tmp_path / "k.blockfit").fit.figure
    assert (back.source, back.source_sha256) == (kneeling.source, kneeling.source_sha256)
    same(kneeling, back)


def test_any_tool_opens_it():
    """Python's own zip and JSON, and trimesh for the surfaces: nothing of ours."""
    import trimesh

    with zipfile.ZipFile(NEWEST) as archive:
        assert archive.testzip() is None
        contents = json.loads(archive.read("job.json"))
        for name, digest in contents["sha256"].items():
            assert hashlib.sha256(archive.read(name)).hexdigest() == digest
        fit = json.loads(archive.read("fit.json"))["fields"]
        mesh: trimesh.Trimesh = trimesh.load(
            io.BytesIO(archive.read(fit["figure"]["ply"])), file_type="ply", process=False
        )
    opened = bf.open_job(NEWEST).fit
    assert np.array_equal(mesh.vertices, opened.figure.vertices)
    assert np.array_equal(mesh.faces, opened.figure.faces)
    assert fit["placement"]["fields"]["scale"] == opened.scale


# ---- every schema, for good ----


@pytest.mark.parametrize("schema", range(1, SCHEMA + 1))
def test_files_of_every_schema_are_opened(schema, tmp_path):
    path = CORPUS / f"schema-{schema}.blockfit"
    job = bf.open_job(path)
    assert job.fit.verdict is bf.Verdict.FITS
    assert [entry.what for entry in job.log] == ["placed", "moved", "done", "readings", "lost", "ladder"]
    assert job.fit.solid().volume_m3 == pytest.approx(job.fit.figure.volume_m3, rel=1e-9)
    assert len(str(job.points)) > 500
    copy = replace(job, path=None).save(tmp_path / "again.blockfit")
    again = bf.open_job(copy.path)
    for name in ("fit", "plan", "points", "planes", "stage", "log", "asked"):
        same(getattr(job, name), getattr(again, name), name)


def test_the_newest_schema_says_what_classes_say():
    """New fields have defaults; whatever else changes in a class that is kept needs a new schema: jobs/classes.py."""
    told: dict[str, set[str]] = {}

    def look(value):
        if isinstance(value, dict):
            if "class" in value:
                names = set(value["fields"]) | ({"vertices", "faces"} if "ply" in value else set())
                told.setdefault(value["class"], names)
            for one in value.values():
                look(one)
        elif isinstance(value, list):
            for one in value:
                look(one)

    with zipfile.ZipFile(NEWEST) as archive:
        for name in archive.namelist():
            if name.endswith(".json"):
                look(json.loads(archive.read(name)))
    from blockfit.jobs.classes import KNOWN

    for name, names in told.items():
        if name in KNOWN.classes and dataclasses.is_dataclass(KNOWN.classes[name]):
            fields = {field.name: field for field in dataclasses.fields(KNOWN.classes[name]) if field.init}
            gone, new = names - set(fields), set(fields) - names
            missing = dataclasses.MISSING
            new = {k for k in new if fields[k].default is missing and fields[k].default_factory is missing}
            new -= set(KNOWN.added.get(name, ()))
            assert not gone | new, f"{name} has changed: see jobs/classes.py"
    kept = {"Fit", "OffcutPlan", "Pointing", "Roughing", "Stage", "Recovery", "Check", "Flaw"}
    assert kept <= set(told)


def test_every_class_that_a_kept_one_holds_is_kept_too():
    """Whatever an annotation of a kept class names can be made again, or the file could not be opened."""
    from blockfit.filing.hints import hints_of
    from blockfit.jobs.classes import KNOWN

    def named(hint):
        if isinstance(hint, type) and (dataclasses.is_dataclass(hint) or issubclass(hint, Enum)):
            yield hint
        for inner in get_args(hint):
            yield from named(inner)

    for made in KNOWN.classes.values():
        for name, hint in hints_of(made).items() if dataclasses.is_dataclass(made) else ():
            for held in named(hint):
                assert KNOWN.classes.get(held.__name__) is held, f"{made.__name__}.{name}: add {held.__name__}"


def test_a_class_that_is_not_listed_is_not_written(tmp_path):
    fit = bf.largest(cuboid(100, 100, 100), bf.Block.box(300, 300, 300))
    job = bf.Job(fit, ()).noted("note", "a way to cut", bf.setback(fit))
    with pytest.raises(bf.BadValueError, match="Setback cannot be kept"):
        job.save(tmp_path / "a.blockfit")
    assert not list(tmp_path.iterdir())


def test_a_field_that_a_later_version_added_is_refused_in_a_sentence(job):
    with zipfile.ZipFile(job) as archive:
        fit = json.loads(archive.read("fit.json"))
    fit["fields"]["lean_mm"] = 3.0
    rewritten(job, lambda contents: None, {"fit.json": json.dumps(fit).encode()})
    with pytest.raises(bf.UnreadableFileError, match="later version"):
        bf.open_job(job)


def test_fields_of_older_files_are_upgraded():
    """A field that once had another name and unit, a field that is new, and a class whose name has gone."""

    def upgrade(given, schema):
        if schema < 2:
            given["tilt"] = given.pop("lean_rad") * 180
        return given

    known = Known({"Stance": bf.Stance}, {"Stance": upgrade})
    plain = {"class": "Stance", "number": 0, "fields": {"lean_rad": 0.5, "turn": 30.0}}
    assert Reader(known, 1, {}.__getitem__).value(plain) == bf.Stance(90.0, 30.0)
    with pytest.raises(bf.BadValueError, match="lean_rad"):
        Reader(known, 2, {}.__getitem__).value(plain)


def test_a_later_schema_is_refused_in_a_sentence(job):
    rewritten(job, lambda contents: contents.update(schema=SCHEMA + 1))
    with pytest.raises(bf.UnreadableFileError, match="later version of blockfit.*install the newer version"):
        bf.open_job(job)


def rewritten(path: Path, change, files=None) -> None:
    """The same file with another table of contents, its digest made right."""
    with zipfile.ZipFile(path) as archive:
        held = {name: archive.read(name) for name in archive.namelist()}
    held |= files or {}
    contents = json.loads(held.pop("job.json"))
    contents.pop("digest")
    contents["sha256"] = {name: hashlib.sha256(body).hexdigest() for name, body in held.items()}
    change(contents)
    plain = json.dumps(contents, sort_keys=True, ensure_ascii=True)
    contents["digest"] = hashlib.sha256(plain.encode()).hexdigest()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, body in {"job.json": json.dumps(contents).encode(), **held}.items():
            archive.writestr(name, body)


# ---- damage ----


def test_a_file_cut_short_anywhere_is_refused_and_the_state_before_named(job, tmp_path):
    whole = job.read_bytes()
    for at in range(0, len(whole), 100):
        job.write_bytes(whole[:at])
        with pytest.raises(bf.UnreadableFileError, match="whole in brick.earlier-1.blockfit"):
            bf.open_job(job)
    job.write_bytes(whole)
    assert len(bf.open_job(job).log) == 4


def test_a_changed_bit_is_found_or_changes_nothing(job):
    """Bits of a zip that carry nothing (times, versions) may differ; what is opened may not."""
    whole, first = bytearray(job.read_bytes()), bf.open_job(job)
    refused = 0
    for at in range(0, len(whole), 7):
        damaged = bytearray(whole)
        damaged[at] ^= 1 << (at % 8)
        job.write_bytes(damaged)
        try:
            opened = bf.open_job(job)
        except bf.UnreadableFileError:
            refused += 1
        else:
            same(first.fit, opened.fit)
            same(first.log, opened.log)
    assert refused > 0.7 * len(whole) / 7


def test_what_is_no_job_is_refused(tmp_path):
    (tmp_path / "a.blockfit").write_bytes(b"solid nothing")
    (tmp_path / "b.blockfit").write_bytes(b"")
    with zipfile.ZipFile(tmp_path / "c.blockfit", "w") as archive:
        archive.writestr("3D/3dmodel.model", "<model/>")
    with zipfile.ZipFile(tmp_path / "d.blockfit", "w") as archive:
        archive.writestr("job.json", "[" * 100_000)
    os.mkfifo(tmp_path / "e.blockfit")
    (tmp_path / "f.blockfit").mkdir()
    for name in "abcdefg":
        with pytest.raises(bf.UnreadableFileError):
            bf.open_job(tmp_path / f"{name}.blockfit")


# ---- files that are written to harm ----


def swollen(path: Path, name: str, size: int) -> None:
    rewritten(path, lambda contents: None, {name: b" " * size})


def test_zip_bombs_are_refused_before_they_are_unpacked(job):
    import tracemalloc

    swollen(job, "more.json", 100_000_000)
    assert job.stat().st_size < 300_000
    tracemalloc.start()
    with pytest.raises(bf.UnreadableFileError, match="far more than it weighs"):
        bf.open_job(job)
    assert tracemalloc.get_traced_memory()[1] < 20_000_000
    tracemalloc.stop()


def test_a_size_that_lies_is_refused(job):
    """The directory promises a small part, the stream holds a large one."""
    swollen(job, "more.json", 50_000_000)
    body = bytearray(job.read_bytes())
    big, small = struct.pack("<I", 50_000_000), struct.pack("<I", 1000)
    assert body.count(big) == 2
    job.write_bytes(body.replace(big, small))
    with pytest.raises(bf.UnreadableFileError):
        bf.open_job(job)


def test_tables_of_contents_too_large_are_refused(job):
    with zipfile.ZipFile(job, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("job.json", b" " * 50_000_000)
    with pytest.raises(bf.UnreadableFileError, match="no table of contents"):
        bf.open_job(job)


@pytest.mark.parametrize(
    "name", ["../evil.json", "/etc/passwd", "surfaces/../../x.ply", "C:\\x.json", "a b.json", "x.py", "surfaces/é.ply"]
)
def test_names_that_lead_elsewhere_are_refused(job, name, tmp_path):
    before = sorted(tmp_path.rglob("*"))
    rewritten(job, lambda contents: None, {name: b"{}"})
    with pytest.raises(bf.UnreadableFileError, match="not opened"):
        bf.open_job(job)
    assert sorted(tmp_path.rglob("*")) == before


def test_twins_and_strangers_are_refused(job):
    body = job.read_bytes()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with zipfile.ZipFile(job, "a") as archive:
            archive.writestr("fit.json", "{}")
    with pytest.raises(bf.UnreadableFileError, match="twice"):
        bf.open_job(job)
    job.write_bytes(body)
    with zipfile.ZipFile(job, "a") as archive:
        archive.writestr("extra.json", "{}")
    with pytest.raises(bf.UnreadableFileError, match="put in by another program"):
        bf.open_job(job)


class Bomb:
    def __reduce__(self):
        return os.system, ("touch pickled",)


HARM = [
    {"class": "system", "number": 0, "fields": {"command": "touch x"}},
    {"class": "os.system", "number": 0, "fields": {}},
    {"class": "Path", "number": 0, "fields": {}},
    {"class": ["Fit"], "number": 0, "fields": {}},
    {"class": "Fit", "number": 0, "fields": {"__class__": "x"}},
    {"class": "Placement", "number": 0, "fields": {"scale": 1.0, "rotation": 3, "shift_mm": None}},
    {"class": "Stance", "number": 0, "fields": {"tilt": "0", "turn": 30}},
    {
        "class": "Flaw",
        "number": 0,
        "fields": {"name": "a", "kind": {"array": "float64", "shape": [2], "values": [0.0, 1.0]}},
    },
    {
        "class": "Placement",
        "number": 0,
        "fields": {
            "scale": 1.0,
            "rotation": {"array": "float64", "shape": [3, 3], "values": [1e308] * 9},
            "shift_mm": {"array": "float64", "shape": [3], "values": [0.0] * 3},
        },
    },
    {"class": "Stance", "number": 0, "fields": {"tilt": 500, "turn": 30}},
    {"class": "Stance", "number": "a", "fields": {"tilt": 0, "turn": 30}},
    {"class": "Verdict", "number": 0, "fields": {}},
    {"enum": "Verdict", "name": "MAYBE"},
    {"enum": "Verdict", "name": "__class__"},
    {"enum": "Fit", "name": "save"},
    {"array": "object", "shape": [1], "values": ["x"]},
    {"array": "float64", "shape": [10**9, 10**9], "values": []},
    {"array": "float64", "shape": [2], "values": [1.0, True]},
    {"array": "float64", "shape": [-1, -1], "values": [1.0]},
    {"array": "int64", "shape": [1], "values": [10**25]},
    {"area": "Point", "coordinates": [[[[0, 0]]]]},
    {"area": "Polygon", "coordinates": [[[[0, 0], [1, "x"]]]]},
    {"area": "Polygon", "coordinates": 3},
    {"float": "1e999999999"},
    {"mapping": [[{"mapping": []}, 1], [[1], 2, 3]]},
    {"mapping": 7},
    {"same": 99999},
    {"same": [1]},
    {"same": True},
    {"enum": "Verdict", "name": {"float": "nan"}},
    {"array": {}, "shape": [0], "values": []},
    {"area": {}, "coordinates": []},
    {"float": {}},
    {"unknown": 1},
    {"class": "Figure", "number": 0, "ply": "surfaces/none.ply", "fields": {}},
    {"class": "Figure", "number": 0, "ply": ["x"], "fields": {}},
]


@pytest.mark.parametrize("harm", HARM, ids=lambda harm: json.dumps(harm)[:50])
def test_values_that_no_writer_writes_are_refused(job, harm):
    rewritten(job, lambda contents: None, {"log.json": json.dumps([harm]).encode()})
    with pytest.raises(bf.UnreadableFileError, match="damaged"):
        bf.open_job(job)


def test_nothing_is_run_by_opening(job, tmp_path, monkeypatch):
    """Pickles and Python in a part's place stay text; only what is listed can be made, and none of it runs code."""
    monkeypatch.chdir(tmp_path)
    for body in (
        pickle.dumps(Bomb()),
        b"__import__('os').system('touch evaluated')",
        b"!!python/object/apply:os.system",
    ):
        rewritten(job, lambda contents: None, {"log.json": body})
        with pytest.raises(bf.UnreadableFileError):
            bf.open_job(job)
    assert not (tmp_path / "pickled").exists()
    assert not (tmp_path / "evaluated").exists()
    from blockfit.jobs.classes import KNOWN

    assert all(made.__module__.startswith("blockfit.") for made in KNOWN.classes.values())


def test_values_are_exchanged_at_random_without_a_fault(job):
    """Every refusal is ours, whatever is put in whose place."""
    rng = np.random.default_rng(5)
    with zipfile.ZipFile(job) as archive:
        text = json.loads(archive.read("fit.json"))
    spots = []

    def look(value):
        for key in value if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else ():
            spots.append((value, key))
            look(value[key])

    look(text)
    odd = [
        None,
        -1,
        0.5,
        "x",
        [],
        {},
        {"same": 0},
        {"float": "nan"},
        1e308,
        {"array": "bool", "shape": [0], "values": []},
    ]
    for _ in range(250):
        holder, key = spots[rng.integers(len(spots))]
        kept, holder[key] = holder[key], odd[rng.integers(len(odd))]
        rewritten(job, lambda contents: None, {"fit.json": json.dumps(text).encode()})
        with contextlib.suppress(bf.BlockfitError):  # anything else would be a fault
            assert isinstance(bf.open_job(job).fit, bf.Fit)
        holder[key] = kept


# ---- writing: whole, alone, with the states before ----


def test_the_last_three_states_are_kept(job):
    logs = [len(bf.open_job(job.with_name(f"brick.earlier-{k}.blockfit")).log) for k in (1, 2, 3)]
    assert (len(bf.open_job(job).log), logs) == (4, [3, 2, 1])
    assert sorted(file.name for file in job.parent.iterdir()) == [
        "brick.blockfit", "brick.earlier-1.blockfit", "brick.earlier-2.blockfit", "brick.earlier-3.blockfit",
    ]  # fmt: skip


def test_saving_without_a_change_changes_nothing(job):
    before = {file: file.read_bytes() for file in job.parent.iterdir()}
    bf.open_job(job).save()
    assert {file: file.read_bytes() for file in job.parent.iterdir()} == before


def test_a_job_that_another_hand_has_changed_is_not_written_over(job):
    mine, theirs = bf.open_job(job), bf.open_job(job)
    theirs.noted("done", "offcut 1").save()
    with pytest.raises(bf.BadValueError, match=r"changed since it was opened .*offcut 1.*open it again"):
        mine.noted("done", "offcut 2").save()
    assert bf.open_job(job).log[-1].words == "offcut 1"


def test_files_that_are_no_job_and_jobs_at_work_are_not_written_over(job, tmp_path):
    fit = bf.largest(cuboid(100, 100, 100), bf.Block.box(300, 300, 300))
    (tmp_path / "letter.blockfit").write_text("dear mason")
    with pytest.raises(bf.BadValueError, match="nothing was changed"):
        fit.save(tmp_path / "letter.blockfit")
    with pytest.raises(bf.BadValueError, match=r"something has happened \(day 2\)"):
        fit.save(job)
    with pytest.raises(bf.BadValueError, match="is a folder"):
        fit.save(tmp_path)
    with pytest.raises(bf.BadValueError, match="there is no folder"):
        fit.save(tmp_path / "none" / "a.blockfit")
    with pytest.raises(bf.BadValueError, match="no file yet"):
        bf.Job(fit, ()).save()
    fit.save(tmp_path / "new.blockfit")
    fit.save(tmp_path / "new.blockfit")  # nothing has happened to it yet
    assert (tmp_path / "letter.blockfit").read_text() == "dear mason"


WRITER = """
import sys, blockfit as bf
path, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
print("ready", flush=True)
done = 0
while done < count:
    try:
        bf.open_job(path).noted("note", f"{name} {done}").save()
        done += 1
    except bf.BadValueError as error:
        assert "changed since" in str(error), error
"""


def writer(path: Path, name: str, count: int):
    words = [sys.executable, "-c", WRITER, str(path), name, str(count)]
    return subprocess.Popen(words, cwd=HERE.parent, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_two_writers_at_once_lose_nothing(job):
    both = [writer(job, name, 8) for name in ("ann", "bob")]
    for one in both:
        _, err = one.communicate(timeout=120)
        assert one.returncode == 0, err
    words = [entry.words for entry in bf.open_job(job).log[4:]]
    assert sorted(words) == sorted(f"{name} {k}" for name in ("ann", "bob") for k in range(8))
    assert not [file for file in job.parent.iterdir() if file.name.startswith(".")]


def test_a_killed_writer_leaves_a_whole_file(job):
    """Killed four times in the midst of writing; whatever it left, the next writer goes on."""
    rng = np.random.default_rng(1)
    for k in range(4):
        one = writer(job, f"run{k}", 10_000)
        assert one.stdout.readline() == "ready\n"
        time.sleep(0.02 + 0.3 * float(rng.random()))
        one.kill()
        one.communicate()
        opened = bf.open_job(job)
        opened.noted("note", f"after {k}").save()
        assert bf.open_job(job).log[-1].words == f"after {k}"


def test_a_writer_stopped_between_any_two_steps_leaves_a_whole_file(job, monkeypatch):
    """Each call that touches the disk fails once: the file is as it was, or as it was to be."""
    before = bf.open_job(job)
    calls = ("replace", "fsync")
    for name in calls:
        for at in range(8):
            count = {"n": 0}
            real = getattr(os, name)

            def failing(*given, real=real, count=count, at=at):
                count["n"] += 1
                if count["n"] == at + 1:
                    raise KeyboardInterrupt
                return real(*given)

            was = len(bf.open_job(job).log)
            with monkeypatch.context() as patch:
                patch.setattr(os, name, failing)
                with contextlib.suppress(KeyboardInterrupt):
                    bf.open_job(job).noted("note", f"{name} {at}").save()
            assert len(bf.open_job(job).log) in (was, was + 1)
            assert not [file for file in job.parent.iterdir() if file.name.startswith(".")]
    same(before.fit, bf.open_job(job).fit)


def test_only_frozen_values_of_known_kinds_are_written():
    for wrong in (object(), {1, 2}, [1], b"x", np.array(["a"]), np.zeros(2, np.complex128), print):
        with pytest.raises(bf.BadValueError, match="cannot be kept"):
            Writer().plain(wrong)


def test_the_same_object_stays_one():
    stance = bf.Stance.upright(30)
    one, other = round_trip((stance, stance))
    assert one is other
    assert Reader(Known({}), SCHEMA, {}.__getitem__).value([1, 2.5]) == (1, 2.5)


def test_a_job_that_is_only_prepared_may_be_begun_anew(tmp_path):
    """A plan and marks are paper: nothing has happened to the stone."""
    fit = bf.largest(cuboid(100, 100, 100), bf.Block.box(300, 300, 300))
    place = tmp_path / "a.blockfit"
    fit.save(place)
    bf.open_job(place).noted("planned", "3 pieces to save").noted("marked", "9 planes from the front").save()
    fit.save(place)
    assert [entry.what for entry in bf.open_job(place).log] == ["placed"]
    bf.open_job(place).noted("done", "offcut 1").save()
    with pytest.raises(bf.BadValueError, match="something has happened"):
        fit.save(place)
