"""A process stands by for questions: it answers in turn, and its end is no harm."""

from __future__ import annotations

import datetime
import os
import signal
import subprocess
import sys
import threading
from collections import OrderedDict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from firstpull.core.errors import WorkshopError
from firstpull.core.job.kinds import Run
from firstpull.files.mesh_box import read_box
from firstpull.services.jobs import look_answers, standby_child
from firstpull.services.jobs import standby as module
from firstpull.services.jobs.look import NotYet
from firstpull.services.jobs.look_answers import RunShown, preview_of
from firstpull.services.jobs.places import run_folder
from firstpull.services.jobs.standby import Overtaken, Standby, StandbyLost, StandbySlow
from run_cases import kept_run
from standby_stand_in import obedient
from test_look_maps import fine_box
from test_runs import wait_for
from test_worker import gone

NOW = datetime.datetime(2026, 11, 27, 12, tzinfo=datetime.UTC)


def a_run(name: str = "run1") -> Run:
    return Run(name, "job1", "r1", 1, "done", 1.0, "", NOW)


@pytest.fixture
def standby(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Standby]:
    monkeypatch.setattr(module, "answer_questions", obedient)
    standby = Standby(tmp_path)
    yield standby
    standby.close()


class Asking(threading.Thread):
    """A question asked from a thread of its own; what came of it."""

    def __init__(self, standby: Standby, question: str, **options: Any) -> None:
        super().__init__(daemon=True)
        self.ask = lambda: standby.ask(a_run(), question, **options)
        self.answer: Any = None
        self.error: BaseException | None = None
        self.start()

    def run(self) -> None:
        try:
            self.answer = self.ask()
        except Exception as error:
            self.error = error

    def ended(self) -> Asking:
        self.join(30)
        assert not self.is_alive()
        return self


def busy(standby: Standby, tmp_path: Path, question: str = "map", **options: Any) -> Asking:
    """A question that is being worked on."""
    note = tmp_path / "note"
    asking = Asking(standby, question, note=str(note), **options)
    wait_for(lambda: note.exists() and note.read_text(), bool)
    return asking


def waiting(standby: Standby, count: int) -> None:
    wait_for(lambda: len(standby._tickets), lambda n: n == count)


def test_questions_are_answered_by_one_process_that_stays(standby: Standby) -> None:
    first, second = (standby.ask(a_run(), "map", number=n) for n in (1, 2))
    assert (first["number"], second["number"]) == (1, 2)
    assert first["pid"] == second["pid"] == standby.pid != os.getpid()


def test_a_refusal_is_told_and_the_process_stays(standby: Standby) -> None:
    pid = standby.ask(a_run(), "map")["pid"]
    with pytest.raises(NotYet):
        standby.ask(a_run(), "refuse")
    with pytest.raises(RuntimeError, match="KeyError"):
        standby.ask(a_run(), "fault")
    assert standby.ask(a_run(), "map")["pid"] == pid


def test_a_crash_is_told_and_the_next_question_starts_anew(standby: Standby) -> None:
    pid = standby.ask(a_run(), "map")["pid"]
    with pytest.raises(StandbyLost, match="Ask again"):
        standby.ask(a_run(), "die")
    assert gone(pid) and standby.ask(a_run(), "map")["pid"] != pid


def test_a_process_killed_while_it_waits_harms_no_question(standby: Standby) -> None:
    pid = standby.ask(a_run(), "map")["pid"]
    os.kill(pid, signal.SIGKILL)
    assert gone(pid)
    wait_for(lambda: standby._child.process.is_alive(), lambda alive: not alive)
    assert standby.ask(a_run(), "map")["pid"] != pid


def test_an_idle_process_ends_and_the_next_question_starts_anew(standby: Standby) -> None:
    standby._idle_seconds = 0.2
    pid = standby.ask(a_run(), "map")["pid"]
    assert gone(pid)
    assert standby.ask(a_run(), "map")["pid"] != pid


def test_only_the_newest_preview_that_waits_is_answered(standby: Standby, tmp_path) -> None:
    standby.ask(a_run(), "map")
    first = busy(standby, tmp_path, "preview", number=0, wait=1.0)
    asked = []
    for number in (1, 2, 3):
        asked.append(Asking(standby, "preview", number=number))
        waiting(standby, 2)
        wait_for(lambda: [a.is_alive() for a in asked], lambda alive: sum(alive) == 1)
    assert [type(a.ended().error) for a in asked] == [Overtaken, Overtaken, type(None)]
    assert first.ended().answer["number"] == 0 and asked[2].answer["number"] == 3
    assert asked[0].error.as_json()["code"] == "cancelled"


def test_a_map_that_waits_is_not_overtaken(standby: Standby, tmp_path) -> None:
    busy(standby, tmp_path, wait=1.0)
    map_asked = Asking(standby, "map", number=1)
    waiting(standby, 2)
    preview_asked = Asking(standby, "preview", number=2)
    assert map_asked.ended().answer["number"] == 1
    assert preview_asked.ended().answer["number"] == 2


def test_a_question_that_takes_too_long_is_given_up(standby: Standby, tmp_path) -> None:
    pid = standby.ask(a_run(), "map")["pid"]
    with pytest.raises(StandbySlow):
        standby.ask(a_run(), "map", wait=60.0, timeout=0.3)
    assert gone(pid) and standby.ask(a_run(), "map")["pid"] != pid


def test_one_that_waits_too_long_for_its_turn_is_given_up_alone(standby: Standby, tmp_path):
    first = busy(standby, tmp_path, number=1, wait=1.5)
    with pytest.raises(StandbySlow):
        standby.ask(a_run(), "map", timeout=0.2)
    assert first.ended().answer["number"] == 1


def test_close_ends_it_in_the_middle_of_a_question(standby: Standby, tmp_path) -> None:
    asking = busy(standby, tmp_path, wait=60.0)
    behind = Asking(standby, "map")
    waiting(standby, 2)
    pid = standby.pid
    standby.close()
    assert gone(pid) and standby.pid is None
    for asked in (asking, behind):
        assert isinstance(asked.ended().error, StandbyLost)
    with pytest.raises(StandbyLost, match="is ending"):
        standby.ask(a_run(), "map")


def test_to_warm_up_is_not_waited_for(standby: Standby, tmp_path) -> None:
    standby.warm(a_run())
    pid = wait_for(lambda: standby.pid, bool)
    assert standby.ask(a_run(), "map")["pid"] == pid


def test_the_process_keeps_two_runs_in_memory(monkeypatch) -> None:
    monkeypatch.setattr(look_answers, "answer", lambda run, question: run)
    shown: OrderedDict[str, RunShown] = OrderedDict()
    first = standby_child._answer(shown, "a", "warm", {})
    standby_child._answer(shown, "b", "warm", {})
    assert standby_child._answer(shown, "a", "warm", {}) is first
    standby_child._answer(shown, "c", "warm", {})
    assert list(shown) == ["a", "c"]


def test_a_real_process_answers_with_maps_and_previews(tmp_path: Path) -> None:
    """What comes back is what this process makes of the same folder."""
    run = a_run()
    run_dir = run_folder(tmp_path, run)
    kept_run(run_dir, fine_box(60, 50, 40, edge=20.0))
    standby = Standby(tmp_path)
    try:
        standby.warm(run)
        wall = {"through": [5.0, 0.0, 0.0], "facing": [1.0, 0.0, 0.0]}
        told = standby.ask(run, "preview", walls=[wall], timeout=300.0)
        assert told == preview_of(RunShown(run_dir), walls=[wall])
        path = standby.ask(run, "map", mesh="skin", name="skin_mm", direction=None, timeout=300.0)
        assert Path(path).is_relative_to(run_dir / "view/maps")
        assert read_box(path)[1]["unit"] == "mm"
        with pytest.raises(NotYet):
            standby.ask(a_run("run2"), "map", mesh="skin", name="skin_mm")
        with pytest.raises(WorkshopError):
            standby.ask(run, "preview", walls=[{}])
    finally:
        standby.close()


def test_the_asking_side_loads_no_numbers() -> None:
    script = (
        "import sys; import firstpull.services.jobs.standby;"
        "print(sorted({'numpy', 'scipy', 'numba', 'trimesh'} & set(sys.modules)))"
    )
    told = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert told.stdout.strip() == "[]", told.stderr
