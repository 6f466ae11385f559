"""Work in its own process: answers, refusals, crashes and cancelling, and nothing left over."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import textwrap
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.progress import Progress
from firstpull.services.worker import Cancelled, WorkerBug, WorkerLost, run_in_worker

HERE = Path(__file__).parent


class ThinWall(WorkshopError):
    code = "thin-wall"


class PickyRefusal(WorkshopError):
    """One whose constructor the way through the pipe does not know."""

    code = "picky"

    def __init__(self, wall_mm: float) -> None:
        super().__init__(where="Wall", found=f"is {wall_mm} mm", limit="", remedy="Thicken it.")


def doubled(mesh: Mesh, *, progress: Progress) -> tuple[int, Mesh]:
    progress("doubling", 0.5)
    return os.getpid(), Mesh(mesh.vertices_mm * 2, mesh.faces)


def refuse(*, progress: Progress) -> None:
    raise ThinWall(where="Wall", found="is 0.2 mm", limit="0.8 mm is the least", remedy="Thicken.")


def refuse_pickily(*, progress: Progress) -> None:
    raise PickyRefusal(0.2)


def fail(*, progress: Progress) -> None:
    raise ZeroDivisionError("no thickness")


def answer_badly(*, progress: Progress) -> object:
    return lambda: None


def die(number: int, *, progress: Progress) -> None:
    os.kill(os.getpid(), number)
    time.sleep(60)


def leave(*, progress: Progress) -> None:
    os._exit(3)


def run_out_of_memory(*, progress: Progress) -> None:
    raise MemoryError


def chatter(*, progress: Progress) -> None:
    for step in range(20_000):
        progress("sweeping", step / 20_000)
    progress("sweeping", 1.0)


def dawdle(note: str, deaf: bool, *, progress: Progress) -> None:
    """Says who it is, then works on for a minute, deaf to being asked to end or not."""
    if deaf:
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
    Path(note).write_text(str(os.getpid()))
    progress("started", 0.1)
    time.sleep(60)


def gone(pid: int) -> bool:
    for _ in range(100):
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        status = Path(f"/proc/{pid}/stat")
        if status.exists() and status.read_text().rsplit(")", 1)[1].split()[0] == "Z":
            return True  # ended; its own parent has not yet asked
        time.sleep(0.05)
    return False


def test_the_answer_and_the_progress_come_from_another_process() -> None:
    seen: list[tuple[str, float]] = []
    mesh = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
    pid, twice = run_in_worker(doubled, mesh, progress=lambda *report: seen.append(report))
    assert pid != os.getpid()
    assert np.array_equal(twice.vertices_mm, 2 * mesh.vertices_mm)
    assert seen == [("doubling", 0.5)]
    assert gone(pid) and multiprocessing.active_children() == []


def test_a_refusal_comes_back_as_itself() -> None:
    with pytest.raises(ThinWall) as caught:
        run_in_worker(refuse)
    assert str(caught.value) == "Wall is 0.2 mm; 0.8 mm is the least. Thicken."
    assert caught.value.as_json()["code"] == "thin-wall"


def test_a_refusal_that_does_not_travel_comes_back_in_the_same_words() -> None:
    with pytest.raises(WorkshopError, match=r"^Wall is 0.2 mm. Thicken it.$") as caught:
        run_in_worker(refuse_pickily)
    assert caught.value.code == "picky"


@pytest.mark.parametrize(
    ("function", "args", "words"),
    [
        (die, (signal.SIGKILL,), "memory ran out"),
        (run_out_of_memory, (), "memory ran out"),
        (die, (signal.SIGSEGV,), "crashed (SIGSEGV)"),
        (leave, (), "exit code 3"),
    ],
)
def test_a_crash_is_told_with_what_to_do(function, args, words) -> None:
    with pytest.raises(WorkerLost) as caught:
        run_in_worker(function, *args)
    assert words in str(caught.value)
    assert "un it again" in caught.value.remedy


@pytest.mark.parametrize(
    ("function", "summary"),
    [(fail, "ZeroDivisionError: no thickness"), (answer_badly, "pickle")],
)
def test_a_fault_is_no_refusal_and_keeps_its_traceback(function, summary) -> None:
    with pytest.raises(WorkerBug) as caught:
        run_in_worker(function)
    assert summary in str(caught.value)
    assert "Traceback" in caught.value.trace


def test_a_tight_loop_may_report_freely() -> None:
    seen: list[float] = []
    run_in_worker(chatter, progress=lambda what, share: seen.append(share))
    assert seen[-1] == 1.0 and len(seen) < 2000
    assert seen == sorted(seen)


@pytest.mark.parametrize("deaf", [False, True])
def test_a_cancel_ends_the_worker(tmp_path: Path, deaf: bool) -> None:
    note, cancel = tmp_path / "pid", threading.Event()
    with pytest.raises(Cancelled, match="called off"):
        run_in_worker(
            dawdle, str(note), deaf, cancel=cancel, progress=lambda what, share: cancel.set()
        )
    assert gone(int(note.read_text()))


def test_whatever_the_caller_raises_ends_the_worker(tmp_path: Path) -> None:
    def interrupt(what: str, share: float) -> None:
        raise KeyboardInterrupt

    note = tmp_path / "pid"
    with pytest.raises(KeyboardInterrupt):
        run_in_worker(dawdle, str(note), False, progress=interrupt)
    assert gone(int(note.read_text()))


def waiting_parent(note: Path) -> subprocess.Popen[str]:
    """A process that waits on a worker, in a process group of its own, as in a terminal."""
    script = textwrap.dedent(f"""
        import sys
        sys.path.insert(0, {str(HERE)!r})
        from firstpull.services.worker import run_in_worker
        from test_worker import dawdle
        if __name__ == "__main__":
            try:
                run_in_worker(dawdle, {str(note)!r}, False)
            except KeyboardInterrupt:
                sys.exit(130)
    """)
    file = note.with_name("parent.py")
    file.write_text(script)
    parent = subprocess.Popen(
        [sys.executable, str(file)], stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    for _ in range(400):
        if note.exists() and note.read_text():
            return parent
        time.sleep(0.05)
    parent.kill()
    raise AssertionError(f"the worker never started: {parent.communicate()[1]}")


def test_ctrl_c_reaches_the_whole_group_and_prints_no_traceback(tmp_path: Path) -> None:
    parent = waiting_parent(tmp_path / "pid")
    os.killpg(parent.pid, signal.SIGINT)
    _, errors = parent.communicate(timeout=20)
    assert (parent.returncode, errors) == (130, "")
    assert gone(int((tmp_path / "pid").read_text()))


def test_a_worker_does_not_outlive_a_killed_parent(tmp_path: Path) -> None:
    parent = waiting_parent(tmp_path / "pid")
    parent.kill()
    parent.communicate(timeout=20)
    assert gone(int((tmp_path / "pid").read_text()))
