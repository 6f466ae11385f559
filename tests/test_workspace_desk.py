"""The desk: each call whole or not at all, versions that are minded, lists in few queries."""

from __future__ import annotations

import datetime
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event, text
from sqlalchemy.exc import IntegrityError

from firstpull.core.job.kinds import Done, OwnFigure
from firstpull.core.job.refusals import ChangedMeanwhile, NoSuchThing
from firstpull.services.jobs.desk import Desk
from firstpull.store.workspace.desk import WorkspaceDesk
from firstpull.store.workspace.workspace import open_workspace
from workshop_desk import NOW, SUMMARY, ended_run, job_with_mesh, later


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[WorkspaceDesk]:
    with open_workspace(tmp_path / "shop") as workspace:
        yield workspace.desk


def test_the_desk_is_what_services_ask_for(desk: WorkspaceDesk) -> None:
    as_asked: Desk = desk
    asked = {name for name in vars(Desk) if not name.startswith("_")}
    assert asked and all(hasattr(as_asked, name) for name in asked | {"folder"})


def test_a_job_comes_back_as_it_was_made(desk: WorkspaceDesk) -> None:
    due = datetime.date(2027, 5, 3)
    made = desk.add_job("Heron \U0001f426 half-mask", now=NOW, sheet="# a\n", due_on=due)
    found = desk.job(made.id)
    assert found == made and found.due_on == due and found.sheet.text == "# a\n"
    assert (found.version, found.sheet.version, found.revisions, found.done) == (1, 1, (), ())
    assert made.id.isalnum() and made.id == made.id.lower() and len(made.id) <= 12


def test_the_one_due_first_then_the_newest_comes_first(desk: WorkspaceDesk) -> None:
    for name, age, due in [("old", 3, None), ("new", 1, None), ("late", 2, 9), ("soon", 4, 5)]:
        day = datetime.date(2026, 12, due) if due else None
        desk.add_job(name, now=later(-age), due_on=day)
    assert [job.name for job in desk.jobs()] == ["soon", "late", "new", "old"]


def test_archived_and_deleted_jobs_have_lists_of_their_own(desk: WorkspaceDesk) -> None:
    kept, away, gone = (desk.add_job(name, now=NOW) for name in ("kept", "away", "gone"))
    desk.change_job(away.id, archived_at=NOW, now=NOW)
    desk.change_job(gone.id, deleted_at=NOW, archived_at=NOW, now=NOW)
    assert [job.id for job in desk.jobs()] == [kept.id]
    assert [job.id for job in desk.jobs(archived=True)] == [away.id]
    assert [job.id for job in desk.deleted()] == [gone.id]
    assert desk.job(gone.id).deleted_at == NOW


def test_a_change_raises_the_version_and_an_old_one_is_refused(desk: WorkspaceDesk) -> None:
    job = desk.add_job("heron", now=NOW)
    changed = desk.change_job(job.id, version=1, name="egret", now=later(1))
    assert (changed.version, changed.name, changed.changed_at) == (2, "egret", later(1))
    with pytest.raises(ChangedMeanwhile, match="version 1 and version 2 stands"):
        desk.change_job(job.id, version=1, name="otter", now=later(2))
    assert desk.job(job.id) == changed
    assert desk.change_job(job.id, name="otter", now=NOW).version == 3
    with pytest.raises(AssertionError):
        desk.change_job(job.id, version_of="x", now=NOW)


def test_a_sheet_has_a_version_of_its_own(desk: WorkspaceDesk) -> None:
    job = desk.add_job("heron", now=NOW)
    kept = desk.save_sheet(job.id, version=1, text="grid_mm: 2\n", now=later(1))
    assert (kept.version, kept.text) == (2, "grid_mm: 2\n")
    with pytest.raises(ChangedMeanwhile, match='sheet of "heron"'):
        desk.save_sheet(job.id, version=1, text="grid_mm: 1\n", now=NOW)
    after = desk.job(job.id)
    assert after.sheet == kept and after.version == 1 and after.changed_at == later(1)


def test_of_two_that_change_at_once_one_is_refused(desk: WorkspaceDesk) -> None:
    """Whoever waits for its turn sees what the other wrote."""
    job = desk.add_job("heron", now=NOW)
    start = threading.Barrier(8)

    def write(n: int) -> bool:
        start.wait()
        try:
            desk.save_sheet(job.id, version=1, text=f"# {n}\n", now=NOW)
        except ChangedMeanwhile:
            return False
        return True

    with ThreadPoolExecutor(8) as pool:
        assert sum(pool.map(write, range(8))) == 1
    assert desk.job(job.id).sheet.version == 2


def test_revisions_and_runs_that_come_at_once_have_numbers_of_their_own(
    desk: WorkspaceDesk,
) -> None:
    job = job_with_mesh(desk)

    def add(n: int) -> int:
        desk.add_run(job.id, now=NOW)
        return desk.add_revision(
            job.id, file_name=f"{n}.stl", path=f"{n}", size_bytes=1, now=NOW
        ).number

    with ThreadPoolExecutor(8) as pool:
        assert sorted(pool.map(add, range(12))) == list(range(2, 14))
    assert len({run.id for run in desk.runs(job.id)}) == 12


def test_a_run_plans_the_last_mesh_and_the_sheet_as_they_stand(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk)
    desk.add_revision(job.id, file_name="b.stl", path="b", size_bytes=1, now=NOW)
    desk.save_sheet(job.id, version=1, text="", now=NOW)
    run = desk.add_run(job.id, now=NOW)
    assert (run.revision_number, run.sheet_version, run.state) == (2, 2, "waiting")
    assert run.revision_id == desk.job(job.id).revisions[-1].id and run.is_under_way
    with pytest.raises(NoSuchThing, match="has no mesh to plan"):
        desk.add_run(desk.add_job("bare", now=NOW).id, now=NOW)


def test_a_run_is_kept_as_it_stands(desk: WorkspaceDesk) -> None:
    run = desk.add_run(job_with_mesh(desk).id, now=NOW)
    failed = replace(
        run, state="failed", share=0.4, what="mould", started_at=NOW, ended_at=later(1),
        refusal={"code": "no_pulls", "sentence": "it locks"},
    )  # fmt: skip
    desk.save_run(failed)
    assert desk.run(run.id) == failed
    desk.save_run(replace(failed, state="done", refusal=None, summary=SUMMARY))
    assert desk.run(run.id).summary == SUMMARY and desk.run(run.id).refusal is None


def test_a_job_shows_its_last_run_and_its_last_plan(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk)
    plan = ended_run(desk, job.id)
    failed = ended_run(desk, job.id, state="failed", summary=None)
    ended_run(desk, job.id, state="cancelled", summary=None)
    found = desk.job(job.id)
    assert found.last_run == failed and found.last_plan == plan
    assert found == desk.jobs()[0]


def test_runs_are_listed_newest_first_and_those_under_way_oldest_first(
    desk: WorkspaceDesk,
) -> None:
    one, two = job_with_mesh(desk), job_with_mesh(desk)
    runs = [desk.add_run(job.id, now=later(n)) for n, job in enumerate((one, two, one))]
    desk.save_run(replace(runs[1], state="working"))
    assert [run.id for run in desk.runs(one.id)] == [runs[2].id, runs[0].id]
    assert [run.id for run in desk.runs_under_way()] == [run.id for run in runs]
    desk.save_run(replace(runs[1], state="done"))
    assert [run.id for run in desk.runs_under_way()] == [runs[0].id, runs[2].id]


def test_a_stage_is_marked_marked_anew_and_unmarked(desk: WorkspaceDesk) -> None:
    job, day = job_with_mesh(desk), datetime.date(2026, 11, 20)
    desk.mark_done(job.id, Done("cast", day, {"mass_g": 212.0}, "the third"), now=NOW)
    both = desk.mark_done(job.id, Done("master", day), now=NOW)
    assert [mark.stage for mark in both.done] == ["master", "cast"] and both.version == 3
    again = desk.mark_done(job.id, Done("cast", day, {}, "the fourth"), now=NOW)
    assert again.done[1] == Done("cast", day, {}, "the fourth")
    assert [m.stage for m in desk.unmark_done(job.id, "cast", now=NOW).done] == ["master"]


def test_what_is_swept_away_takes_all_of_it_along(desk: WorkspaceDesk) -> None:
    job, other = job_with_mesh(desk), job_with_mesh(desk)
    ended_run(desk, job.id)
    desk.mark_done(job.id, Done("master", datetime.date(2026, 11, 20)), now=NOW)
    desk.sweep_job(job.id)
    assert not (desk.folder / "jobs" / job.id).exists()
    assert (desk.folder / other.revisions[0].path).exists()
    with desk._database.reading() as session:
        for table in ("revisions", "runs", "done"):
            count = f"SELECT count(*) FROM {table} WHERE job_id = :job"
            assert session.scalar(text(count), {"job": job.id}) == 0
    with pytest.raises(NoSuchThing):
        desk.sweep_job(job.id)


def test_figures_of_ones_own_are_set_replaced_and_dropped(desk: WorkspaceDesk) -> None:
    own = OwnFigure("silicone-tin-30a", "pot_life", 25, 30, 38, "twelve cups", NOW)
    desk.save_own_figure(own)
    desk.save_own_figure(replace(own, typical=31.5))
    assert list(desk.own_figures()) == [replace(own, typical=31.5)]
    desk.drop_own_figure("silicone-tin-30a", "pot_life")
    assert list(desk.own_figures()) == []
    with pytest.raises(NoSuchThing, match="is no figure of your own"):
        desk.drop_own_figure("silicone-tin-30a", "pot_life")


GONE: dict[str, Any] = {
    "job": lambda desk: desk.job("gone"),
    "change": lambda desk: desk.change_job("gone", name="x", now=NOW),
    "sheet": lambda desk: desk.save_sheet("gone", version=1, text="", now=NOW),
    "revision": lambda desk: desk.add_revision(
        "gone", file_name="a", path="a", size_bytes=1, now=NOW
    ),
    "done": lambda desk: desk.mark_done("gone", Done("cast", NOW.date()), now=NOW),
    "undone": lambda desk: desk.unmark_done("gone", "cast", now=NOW),
    "new run": lambda desk: desk.add_run("gone", now=NOW),
    "runs": lambda desk: desk.runs("gone"),
    "run": lambda desk: desk.run("gone"),
}


@pytest.mark.parametrize("asked", GONE)
def test_what_is_not_there_is_refused(desk: WorkspaceDesk, asked: str) -> None:
    with pytest.raises(NoSuchThing) as refusal:
        GONE[asked](desk)
    assert '"gone"' in refusal.value.where and refusal.value.remedy


def test_rows_that_belong_to_nothing_cannot_be_written(desk: WorkspaceDesk) -> None:
    row = "INSERT INTO done VALUES ('gone', 'cast', '2026-01-01', '{}', '')"
    with pytest.raises(IntegrityError, match="FOREIGN KEY"), desk._database.writing() as session:
        session.execute(text(row))


def test_a_state_that_does_not_exist_cannot_be_written(desk: WorkspaceDesk) -> None:
    run = desk.add_run(job_with_mesh(desk).id, now=NOW)
    with pytest.raises(IntegrityError, match="known_state"):
        desk.save_run(replace(run, state="asleep"))  # type: ignore[arg-type]


def test_a_call_that_fails_in_the_middle_keeps_nothing(desk: WorkspaceDesk) -> None:
    job = desk.add_job("heron", now=NOW)
    with pytest.raises(RuntimeError), desk._database.writing() as session:
        session.execute(text("UPDATE jobs SET name = 'egret'"))
        raise RuntimeError("in the middle")
    assert desk.job(job.id).name == "heron"


def test_many_jobs_are_listed_in_as_few_queries_as_one(desk: WorkspaceDesk) -> None:
    """300 jobs with meshes, runs and marks; what counts is that the count does not grow."""
    said: list[str] = []
    event.listen(desk._database.engine, "before_cursor_execute", lambda *call: said.append(call[2]))

    def queries() -> int:
        with desk._database.writing():
            said.clear()
        desk.jobs()
        return sum(statement.startswith("SELECT") for statement in said)

    ended_run(desk, job_with_mesh(desk).id)
    few = queries()
    said.clear()
    desk.jobs()
    assert said == [], "nothing was written, so nothing is read again"
    with desk._database.writing() as session:
        for n in range(299):
            session.execute(text(_ROWS[0]), {"id": f"j{n}"})
            for row in _ROWS[1:]:
                session.execute(text(row), {"id": f"j{n}"})
    assert len(desk.jobs()) == 300
    assert all(job.revisions and job.last_plan and job.done for job in desk.jobs()[:-1])
    assert queries() == few <= 7


_AT = "2026-11-27T09:30:00.000000+00:00"
_ROWS = (
    f"INSERT INTO jobs VALUES (:id, :id, '2026-12-01', 1, '{_AT}', '{_AT}', NULL, NULL, 1, '')",
    f"INSERT INTO revisions VALUES ('r' || :id, :id, 1, 'a.stl', 'a', 1, '{_AT}')",
    f"INSERT INTO runs VALUES ('p' || :id, :id, 1, 'r' || :id, 1, 'done', 1.0, '', '{_AT}',"
    " NULL, NULL, NULL, NULL)",
    "INSERT INTO done VALUES (:id, 'master', '2026-11-20', '{}', '')",
)


def test_threads_read_while_others_write(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk)

    def work(n: int) -> int:
        if n % 3 == 0:
            desk.change_job(job.id, name=f"heron {n}", now=NOW)
        return len(desk.jobs()) + len(desk.runs(job.id)) + desk.job(job.id).version

    with ThreadPoolExecutor(40) as pool:
        assert len(list(pool.map(work, range(120)))) == 120
    assert desk.job(job.id).version == 41
