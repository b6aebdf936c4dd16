"""The job on file: one placement for as long as the work takes, and the dated log of what was done.

Most of these take a job and return it with one more entry in its log; `Job.save` writes it. `read_back` and
`scanned` return what they found as well; `ladder` and `stone_now` only look.

>>> import pathlib, tempfile
>>> import blockfit as bf
>>> from blockfit import jobs
>>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
>>> cube = bf.Figure.from_points(corners)
>>> fit = bf.safest(cube, bf.Block.box(300, 200, 250), stance=bf.Stance.fixed())
>>> with tempfile.TemporaryDirectory() as folder:
...     fit.save(pathlib.Path(folder) / "cube.blockfit")
...     job = bf.open_job(pathlib.Path(folder) / "cube.blockfit")
>>> job = jobs.lose(job, bf.Flaw.ball((300, 200, 250), 20))
>>> [entry.what for entry in job.log], jobs.stone_now(job).volume_m3 < fit.block.volume_m3
(['placed', 'lost'], True)
"""

from blockfit.jobs.done import done
from blockfit.jobs.job import Job, open_job
from blockfit.jobs.losses import lose
from blockfit.jobs.moves import ladder, taken
from blockfit.jobs.readings import read_back
from blockfit.jobs.scans import scanned
from blockfit.jobs.stone import stone_now
from blockfit.jobs.tables import marked, planned

__all__ = [
    "Job",
    "done",
    "ladder",
    "lose",
    "marked",
    "open_job",
    "planned",
    "read_back",
    "scanned",
    "stone_now",
    "taken",
]
