"""Runs are worked off one after the other, and whatever happens to one is told."""

from __future__ import annotations

import datetime
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firstpull.core.errors import WorkshopError
from firstpull.core.job.kinds import Job, KeptSheet, Revision, Run
from firstpull.core.job.refusals import NoSuchThing
from firstpull.core.progress import Progress
from firstpull.services.jobs import runs
from firstpull.services.jobs.look import LOOK_READY
from firstpull.services.jobs.places import run_folder
from firstpull.services.jobs.plan_here import PlanOrder
from firstpull.services.jobs.runs import Runner
from test_worker import gone

NOW = datetime.datetime(2026, 11, 27, 12, tzinfo=datetime.UTC)


class FakeDesk:
    """Jobs and runs in memory; ``broken`` is raised by the next calls that save."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.all: dict[str, Run] = {}
        self.saved: list[Run] = []
        self.broken = 0
        self.sheets: dict[str, str] = {}
        self.swept: set[str] = set()

    def job(self, job_id: str) -> Job:
        if job_id in self.swept or not job_id.startswith("job"):
            raise NoSuchThing(where=f"Job {job_id}", found="is not there")
        done = [run for run in self.runs(job_id) if run.state == "done"]
        revision = Revision("r1", 1, "heron.stl", f"jobs/{job_id}/mesh/1-heron.stl", 84, NOW)
        return Job(
            job_id, f"Heron {job_id}", None, 1, NOW, NOW, None, None, (revision,),
            KeptSheet(1, self.sheets.get(job_id, "")), (), None, done[0] if done else None,
        )  # fmt: skip

    def add_run(self, job_id: str, *, now: datetime.datetime) -> Run:
        self.job(job_id)
        run = Run(f"run{len(self.all) + 1}", job_id, "r1", 1, "waiting", 0.0, "", now)
        self.all[run.id] = run
        return run

    def run(self, run_id: str) -> Run:
        if run_id not in self.all or self.all[run_id].job_id in self.swept:
            raise NoSuchThing(where=f"Run {run_id}", found="is not there")
        return self.all[run_id]

    def runs(self, job_id: str) -> list[Run]:
        return [run for run in reversed(self.all.values()) if run.job_id == job_id]

    def runs_under_way(self) -> list[Run]:
        return [run for run in self.all.values() if run.is_under_way]

    def save_run(self, run: Run) -> None:
        if self.broken:
            self.broken -= 1
            raise OSError("the disc is away")
        self.run(run.id)
        self.all[run.id] = run
        self.saved.append(run)

    def own_figures(self) -> list[Any]:
        return []


def plan(order: PlanOrder, store: Any, *, progress: Progress) -> dict[str, Any]:
    """Does what the job's sheet says, in the worker."""
    (order.run_dir / "view").mkdir(parents=True)
    (order.run_dir / "plan").mkdir()
    (order.run_dir / "pid").write_text(str(os.getpid()))
    progress(LOOK_READY, 0.2)
    if order.sheet_text == "wait":
        (order.run_dir / ".plan.new-1-x").mkdir()
        time.sleep(60)
    if order.sheet_text == "die":
        os.kill(os.getpid(), signal.SIGKILL)
    if order.sheet_text == "refuse":
        raise WorkshopError(where="Mesh", found="has no hollow", remedy="Give master.up.")
    if order.sheet_text == "fault":
        raise KeyError("flange")
    for step in range(2000 if order.sheet_text == "chatter" else 1):
        progress("sweeping", 0.2 + step / 5000)
        time.sleep(0.0005)
    return {"name": order.name, "mesh": str(order.mesh_path)}


class Shop:
    """A runner over a desk in memory, and what it told."""

    def __init__(self, folder: Path, **more: Any) -> None:
        self.folder = folder
        self.desk = FakeDesk(folder)
        self.told: list[dict[str, Any]] = []
        self.faults: list[BaseException] = []
        self.planned: list[Run] = []
        self.runner = self.open(**more)

    def open(self, **more: Any) -> Runner:
        return Runner(
            self.desk,
            folder=self.folder,
            store=None,
            publish=lambda event, data: self.told.append({"event": event, **data}),
            clock=lambda: NOW,
            work=plan,
            on_planned=self.planned.append,
            on_fault=self.faults.append,
            **more,
        )

    def start(self, job_id: str = "job1", sheet: str = "") -> Run:
        self.desk.sheets[job_id] = sheet
        return self.runner.start(job_id)

    def until(self, run: Run, *states: str) -> Run:
        return wait_for(lambda: self.desk.all[run.id], lambda now: now.state in states)

    def folder_of(self, run: Run) -> Path:
        return run_folder(self.folder, run)

    def pid_of(self, run: Run) -> int:
        note = self.folder_of(run) / "pid"
        return int(wait_for(lambda: note.exists() and note.read_text(), bool))


def wait_for(ask: Callable[[], Any], good: Callable[[Any], bool]) -> Any:
    for _ in range(600):
        value = ask()
        if good(value):
            return value
        time.sleep(0.05)
    raise AssertionError(f"still {value}")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    shop = Shop(tmp_path)
    yield shop
    shop.runner.close()


def states_told(shop: Shop, run: Run) -> list[str]:
    states = [told["state"] for told in shop.told if told["id"] == run.id]
    return [s for n, s in enumerate(states) if n == 0 or states[n - 1] != s]


def test_a_run_is_told_from_waiting_to_done_with_its_summary(shop: Shop) -> None:
    run = shop.until(shop.start(), "done")
    wait_for(lambda: shop.planned, bool)
    assert states_told(shop, run) == ["waiting", "working", "done"]
    assert run.summary == {
        "name": "Heron job1", "mesh": str(shop.folder / "jobs/job1/mesh/1-heron.stl")
    }  # fmt: skip
    assert run.share == 1.0 and run.started_at == run.ended_at == NOW and run.refusal is None
    assert [planned.id for planned in shop.planned] == [run.id]
    assert {told["event"] for told in shop.told} == {"run"} and not shop.faults
    assert gone(shop.pid_of(run))


def test_that_the_mesh_can_be_looked_at_is_told_at_once(shop: Shop) -> None:
    run = shop.start(sheet="wait")
    wait_for(lambda: [t["what"] for t in shop.told if t["id"] == run.id], lambda w: LOOK_READY in w)


def test_a_tight_loop_is_told_and_saved_thinned_out(shop: Shop, monkeypatch) -> None:
    monkeypatch.setattr(runs, "TOLD_SECONDS", 1e6)
    monkeypatch.setattr(runs, "SAVED_SECONDS", 1e6)
    run = shop.until(shop.start(sheet="chatter"), "done")
    wait_for(lambda: states_told(shop, run)[-1], lambda state: state == "done")
    assert len([told for told in shop.told if told["state"] == "working"]) <= 3
    assert len(shop.desk.saved) <= 3


def test_runs_of_two_jobs_go_one_after_the_other(shop: Shop) -> None:
    first, second = shop.start("job1", "wait"), shop.start("job2")
    pid = shop.pid_of(first)
    assert shop.desk.run(second.id).state == "waiting"
    shop.runner.cancel(first.id)
    shop.until(second, "done")
    assert shop.desk.run(first.id).state == "cancelled" and gone(pid)


def test_a_newer_run_of_a_job_ends_the_working_one_and_replaces_the_waiting_one(shop: Shop):
    first = shop.start(sheet="wait")
    shop.pid_of(first)
    second = shop.start(sheet="wait")
    third = shop.start()
    shop.until(third, "done")
    assert [shop.desk.run(r.id).state for r in (first, second)] == ["cancelled", "cancelled"]
    assert not shop.folder_of(second).exists()


def test_a_cancelled_run_leaves_no_process_and_no_file(shop: Shop) -> None:
    run = shop.start(sheet="wait")
    pid = shop.pid_of(run)
    shop.runner.cancel(run.id)
    shop.until(run, "cancelled")
    assert gone(pid) and not shop.folder_of(run).exists()
    assert states_told(shop, run)[-1] == "cancelled"
    assert shop.runner.cancel(run.id).state == "cancelled"


def test_a_run_that_has_ended_is_not_called_off(shop: Shop) -> None:
    run = shop.until(shop.start(), "done")
    assert shop.runner.cancel(run.id).state == "done" and shop.folder_of(run).exists()


@pytest.mark.parametrize(
    ("sheet", "code", "words"),
    [
        ("refuse", "refused", "has no hollow"),
        ("die", "worker-lost", "memory ran out"),
        ("fault", "program_fault", "Plan it again"),
    ],
)
def test_a_failed_run_tells_why_and_what_to_do(shop: Shop, sheet, code, words) -> None:
    run = shop.until(shop.start(sheet=sheet), "failed")
    assert run.refusal is not None and run.refusal["code"] == code
    assert words in run.refusal["sentence"] and run.refusal["remedy"]
    assert [type(fault).__name__ for fault in shop.faults] == ["WorkerBug"] * (sheet == "fault")
    shop.until(shop.start(), "done")


def test_a_killed_worker_is_told_and_the_next_run_works(shop: Shop) -> None:
    run = shop.start(sheet="wait")
    os.kill(shop.pid_of(run), signal.SIGKILL)
    run = shop.until(run, "failed")
    assert run.refusal is not None and run.refusal["code"] == "worker-lost"
    wait_for(lambda: list(shop.folder_of(run).glob(".plan.*")), lambda left: not left)
    shop.until(shop.start(), "done")


def test_only_the_files_of_the_last_three_runs_and_of_the_plan_stay(shop: Shop) -> None:
    done = shop.until(shop.start(), "done")
    failed = [shop.until(shop.start(sheet="refuse"), "failed") for _ in range(5)]
    last = [shop.folder_of(run) for run in failed[2:]]
    wait_for(
        lambda: set(shop.folder_of(done).parent.iterdir()),
        lambda there: there == {*last, shop.folder_of(done)},
    )


def test_a_desk_that_fails_for_a_moment_loses_nothing(shop: Shop, monkeypatch) -> None:
    monkeypatch.setattr(runs, "TRY_AGAIN_SECONDS", 0.01)
    run = shop.start()
    shop.desk.broken = 2
    shop.until(run, "done")
    shop.until(shop.start(), "done")


def test_a_desk_that_stays_broken_does_not_end_the_thread(shop: Shop, monkeypatch) -> None:
    monkeypatch.setattr(runs, "TRY_AGAIN_SECONDS", 0.001)
    run = shop.start(sheet="wait")
    shop.pid_of(run)
    shop.desk.broken = runs.SAVE_TRIES
    shop.runner.cancel(run.id)
    wait_for(lambda: shop.desk.broken, lambda left: left == 0)
    shop.until(shop.start("job2"), "done")
    assert any(isinstance(fault, OSError) for fault in shop.faults)


def test_a_listener_that_fails_does_not_end_the_run(shop: Shop) -> None:
    def publish(event: str, data: dict[str, Any]) -> None:
        raise RuntimeError("nobody listens")

    shop.runner._publish = publish
    shop.until(shop.start(), "done")
    assert shop.faults


def test_a_job_swept_away_while_it_is_planned_leaves_no_files(shop: Shop) -> None:
    run = shop.start(sheet="wait")
    shop.pid_of(run)
    shop.desk.swept.add("job1")
    shop.runner.cancel(run.id)
    shop.until(shop.start("job2"), "done")
    assert not shop.folder_of(run).exists()


def test_close_ends_the_worker_and_all_waits_for_the_next_time(shop: Shop) -> None:
    first, second = shop.start("job1", "wait"), shop.start("job2")
    pid = shop.pid_of(first)
    shop.runner.close()
    assert gone(pid) and threading.active_count() < 20
    assert [shop.desk.run(r.id).state for r in (first, second)] == ["waiting", "waiting"]
    assert not shop.folder_of(first).exists()
    shop.desk.sheets["job1"] = ""
    shop.runner = shop.open()
    shop.runner.resume()
    shop.until(first, "done")
    shop.until(second, "done")


def test_what_was_broken_off_is_told_as_failed_and_its_pieces_go(shop: Shop) -> None:
    run = shop.desk.add_run("job1", now=NOW)
    shop.desk.all[run.id] = replace(run, state="working")
    (shop.folder_of(run) / ".plan.new-1-x").mkdir(parents=True)
    shop.runner.resume()
    run = shop.desk.run(run.id)
    assert run.state == "failed" and run.ended_at == NOW
    assert run.refusal is not None and run.refusal["code"] == "server_stopped"
    assert list(shop.folder_of(run).iterdir()) == []


def test_unknown_runs_and_jobs_are_refused(shop: Shop) -> None:
    for ask in (lambda: shop.runner.cancel("none"), lambda: shop.runner.start("none")):
        with pytest.raises(NoSuchThing):
            ask()


def test_the_server_loads_nothing_that_plans() -> None:
    """What plans is loaded in the worker alone."""
    script = (
        "import sys; import firstpull.services.jobs.runs, firstpull.services.jobs.look;"
        "heavy = {'scipy', 'numba', 'trimesh', 'firstpull.services.plan_job'};"
        "print(sorted(heavy & set(sys.modules)))"
    )
    told = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert told.stdout.strip() == "[]", told.stderr
