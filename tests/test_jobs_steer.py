"""What hand and eye chose in the view of a plan stands in the sheet, in the file's axes."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from firstpull.core.job.kinds import Job, Run
from firstpull.core.job.refusals import ChangedMeanwhile, NoSuchThing
from firstpull.core.mould.steering import steering_of
from firstpull.core.sheet_check import BadSheet
from firstpull.services.chosen import NoPlan
from firstpull.services.jobs.desk import Desk
from firstpull.services.jobs.places import plan_folder
from firstpull.services.jobs.sheet_read import sheet_read
from firstpull.services.jobs.steer import steer
from firstpull.store.workspace.workspace import open_workspace

NOW = datetime.datetime(2026, 5, 1, 9, 0, tzinfo=datetime.UTC)
# centimetres, printed at twice the size, turned a quarter about x, lifted
TO_MOULD = np.array([[20, 0, 0, 1.0], [0, 0, -20, 2.0], [0, 20, 0, 30.0], [0, 0, 0, 1.0]])


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with open_workspace(tmp_path) as workspace:
        yield workspace.desk


def planned(desk: Desk, name: str = "Heron", *, done: bool = True) -> tuple[Job, Run]:
    job = desk.add_job(name, now=NOW)
    desk.add_revision(
        job.id, file_name="heron.stl", path="jobs/x/mesh/1-heron.stl", size_bytes=9, now=NOW
    )
    run = desk.add_run(job.id, now=NOW)
    if done:
        run = replace(run, state="done", share=1.0, started_at=NOW, ended_at=NOW, summary={})
        desk.save_run(run)
        folder = plan_folder(desk.folder, run)
        folder.mkdir(parents=True)
        mould = {
            "frame": {"to_mould": TO_MOULD.ravel().tolist()},
            "shell": {"pieces": [{"pull": [0, 0, 1]}]},
        }
        (folder / "plan.json").write_text(json.dumps({"parts": [{"moulds": [mould]}]}))
    return desk.job(job.id), run


def steered(desk: Desk, job: Job, run: Run, **moves: object) -> Job:
    version = desk.job(job.id).sheet.version
    steer(desk, job.id, moves, run_id=run.id, version=version, now=NOW)
    return desk.job(job.id)


def test_walls_and_pulls_come_back_where_they_were_set(desk: Desk) -> None:
    """Read with the plan's frame, a wall stands and a pull points as in the view."""
    job, run = planned(desk)
    wall = {"through": [12.0, -8.0, 60.0], "facing": [0.6, 0.0, 0.8]}
    kept = steered(desk, job, run, walls=[wall], pulls=[[0.0, 0.6, 0.8], [0.0, -0.6, 0.8]])
    steering = steering_of(sheet_read(kept.sheet.text).sheet, TO_MOULD)
    assert steering.pulls is not None
    np.testing.assert_allclose(steering.pulls, [[0, 0.6, 0.8], [0, -0.6, 0.8]], atol=1e-6)
    said = sheet_read(kept.sheet.text).sheet.shell.walls
    assert said is not None and said[0].through is not None
    back = TO_MOULD @ [*said[0].through, 1.0]
    np.testing.assert_allclose(back[:3], wall["through"], atol=1e-3)


def test_walls_let_go_of_pulls_and_of_too_few_pieces(desk: Desk) -> None:
    """Pulls belonged to the walls before; one wall is two pieces at least."""
    job, run = planned(desk)
    text = "shell: {pieces: 1, pulls: [[0, 0, 1]]}\n"
    desk.save_sheet(job.id, version=job.sheet.version, text=text, now=NOW)
    kept = steered(desk, job, run, walls=[{"through": [0, 0, 0], "facing": [1, 0, 0]}])
    shell = sheet_read(kept.sheet.text).sheet.shell
    assert (shell.pieces, shell.pulls) == (2, None)
    assert shell.walls is not None


def test_a_drawn_line_goes_in_as_a_line(desk: Desk) -> None:
    """A line is kept point by point, in centimetres of the file here."""
    job, run = planned(desk)
    line = [[1.0, 2.0, 30.0], [21.0, 2.0, 30.0], [41.0, 2.0, 30.0]]
    kept = steered(desk, job, run, walls=[{"line": line}])
    walls = sheet_read(kept.sheet.text).sheet.shell.walls
    assert walls is not None
    assert walls[0].line == [[0, 0, 0], [1, 0, 0], [2, 0, 0]]


def test_paint_lies_on_top_of_what_was_painted(desk: Desk) -> None:
    """New dabs follow the old ones; their radius is that on the printed part."""
    job, run = planned(desk)
    dab = {"at": [1.0, 2.0, 30.0], "radius_mm": 6.0, "copied": True}
    steered(desk, job, run, paint=[dab])
    kept = steered(desk, job, run, paint=[{**dab, "copied": False}])
    paint = sheet_read(kept.sheet.text).sheet.master.paint
    assert paint is not None
    assert [(d.at, d.radius_mm, d.copied) for d in paint] == [
        ([0.0, 0.0, 0.0], 6.0, True),
        ([0.0, 0.0, 0.0], 6.0, False),
    ]
    with pytest.raises(BadSheet, match=r"comes to 402 dabs; a sheet holds 400"):
        steered(desk, job, run, paint=[dab] * 400)


def test_up_can_be_said_before_there_is_a_plan(desk: Desk) -> None:
    """A plan that stopped because it found no up shows the file's axes: they are taken."""
    job, run = planned(desk, done=False)
    kept = steered(desk, job, run, up=[0.0, 3.0, 4.0])
    assert sheet_read(kept.sheet.text).sheet.master.up == [0.0, 3.0, 4.0]
    with pytest.raises(NoPlan, match="has no plan yet"):
        steered(desk, job, run, pulls=[[0, 0, 1]])


def test_another_jobs_plan_and_an_old_version_are_refused(desk: Desk) -> None:
    """Nothing is written in either case."""
    job, run = planned(desk)
    _, other = planned(desk, "Kingfisher")
    with pytest.raises(NoSuchThing, match="not one of this job"):
        steered(desk, job, other, up=[0, 0, 1])
    with pytest.raises(ChangedMeanwhile):
        steer(
            desk,
            job.id,
            {"up": [0, 0, 1]},
            run_id=run.id,
            version=job.sheet.version + 1,
            now=NOW,
        )
    assert desk.job(job.id).sheet == job.sheet
