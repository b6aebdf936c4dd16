"""Job files of every schema, kept for good: ``python tests/jobs/corpus.py`` adds today's, once, if there is none."""

import sys
from dataclasses import replace
from pathlib import Path

import manifold3d
import numpy as np

import blockfit as bf
from blockfit.filing.package import SCHEMA

FOLDER = Path(__file__).parent.parent / "data" / "jobs"


def statue() -> bf.Figure:
    """A standing figure of boxes with a round head and an arm to its left; 350 faces."""
    parts = [
        manifold3d.Manifold.cube((300, 200, 900)),
        manifold3d.Manifold.cube((300, 120, 120)).translate((250, 30, 600)),
        manifold3d.Manifold.sphere(110, 24).translate((150, 90, 980)),
        manifold3d.Manifold.cube((480, 360, 80)).translate((-90, -80, -60)),
    ]
    whole = manifold3d.Manifold.batch_boolean(parts, manifold3d.OpType.Add).to_mesh64()
    faces = whole.tri_verts.astype(np.int64)
    marks = {"crown": (150, 90, 1090), "hand": (550, 90, 660)}
    return bf.Figure(whole.vert_properties, faces, landmarks=marks, name="standing boxes")


def block() -> bf.Block:
    return bf.Block.box(800, 600, 1400, stone="limestone", skin=10, name="B-1", bed="z", price=2400)


def placed(figure: bf.Figure, stone: bf.Block) -> bf.Fit:
    cover, stance = {"bottom": 0, "other": 20}, bf.Stance.upright(30)
    return bf.safest(figure, stone, scale=1.0, cover=cover, stance=stance, seek="setback")


def whole_job() -> bf.Job:
    """A job with one of everything that a file may hold."""
    fit = placed(statue(), block())
    crack = bf.Flaw.crack([(700, 500, 100), (780, 500, 100), (740, 560, 700)], margin=5)
    flawed = bf.largest(statue(), block().with_flaws(crack), cover=20, stance=bf.Stance.upright(30), gap=1e-3)
    plan = bf.offcuts(fit, lift_limit_kg=300, least_weight_kg=60)
    lost = bf.Flaw.ball((400, 80, 900), 40, name="lost at the shoulder")
    job = bf.Job(fit, (), plan, bf.pointing(fit, count=8, faces=("front", "left")), (bf.roughing(fit, step=80),))
    job = replace(job, stage=bf.stage_of(fit, offcuts=plan, pieces=2), asked={"lift_limit_kg": 300.0, "kerf": None})
    job = job.noted("placed", "as in the fit", when="2026-03-02T09:30:00+01:00")
    job = job.noted("moved", "a trial among flaws", flawed, when="2026-03-03T08:00:00+01:00")
    job = job.noted("done", "offcuts 1-2", ("offcut 1", "offcut 2"), when="2026-03-09T17:00:00+01:00")
    readings = bf.check(fit, {"brow": (400, 200, 1100), "knee": (400, 300, 300)})
    job = job.noted("readings", "2 readings", readings, when="2026-04-01T12:00:00+02:00")
    job = job.noted("lost", "a ball", (lost,), when="2026-05-20T08:00:00+02:00")
    ladder = bf.recover(fit, lost, effort=0.1)
    return job.noted("ladder", "where it still goes", ladder, when="2026-05-21T08:00:00+02:00")


def path_of(schema: int) -> Path:
    return FOLDER / f"schema-{schema}.blockfit"


if __name__ == "__main__":
    target = path_of(SCHEMA)
    if target.exists():
        sys.exit(f"{target.name} is there and stays; raise SCHEMA to add another")
    whole_job().save(target)
