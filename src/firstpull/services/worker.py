"""Long work in a process of its own: progress comes out, cancelling ends it, a crash is told."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import pickle
import signal
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from typing import Any

from firstpull.core.errors import WorkshopError
from firstpull.core.progress import Progress, quiet

REPORT_SECONDS = 0.05  # reports of the same stage come no closer than this
LOOK_SECONDS = 0.1  # how often a cancel from another thread is looked for
GRACE_SECONDS = 2.0  # from asking a worker to end to ending it


HELD = {signal.SIGINT, signal.SIGTERM}


class Cancelled(WorkshopError):
    """The work was called off."""

    code = "cancelled"


class WorkerLost(WorkshopError):
    """The worker ended without an answer."""

    code = "worker-lost"


class WorkerBug(RuntimeError):
    """Something went wrong in the worker that is nobody's input: a fault of the program.

    Attributes:
        trace: the worker's own traceback, as text.
    """

    def __init__(self, summary: str, trace: str) -> None:
        super().__init__(summary)
        self.trace = trace


def run_in_worker(
    function: Callable[..., Any],
    *args: Any,
    progress: Progress = quiet,
    cancel: threading.Event | None = None,
) -> Any:
    """``function(*args, progress=...)`` in a spawned process; its answer comes back here.

    Whatever ends this call, an answer, a refusal, Ctrl-C or a cancel, ends the worker too. A
    worker whose parent is gone ends by itself.

    Args:
        function: a module-level function; it, its arguments and its answer are pickled.
        progress: called here, in the calling thread, with what the worker reports.
        cancel: set from another thread to call the work off.

    Raises:
        WorkshopError: the refusal that the function raised.
        Cancelled: ``cancel`` was set.
        WorkerLost: the process was killed, ran out of memory or crashed.
        WorkerBug: the function raised anything else.
    """
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe(duplex=False)
    process = context.Process(target=_child, args=(theirs, function, args))
    try:
        with interrupts_held():
            process.start()
        theirs.close()
        return _answer(ours, process, progress, cancel or threading.Event())
    finally:
        end_process(process)
        ours.close()
        theirs.close()


def _answer(
    pipe: Connection, process: SpawnProcess, progress: Progress, cancel: threading.Event
) -> Any:
    """Pass reports on until the worker answers, is lost or is called off."""
    while not cancel.is_set():
        if not wait([pipe], timeout=LOOK_SECONDS):
            continue
        try:
            kind, *content = pipe.recv()
        except EOFError:
            process.join(GRACE_SECONDS)
            raise lost_worker(process.exitcode) from None
        if kind == "progress":
            progress(*content)
        else:
            return answer_of(kind, content)
    raise Cancelled(
        where="The work",
        found="was called off",
        remedy="Nothing was written; start it again when you like.",
    )


def answer_of(kind: str, content: list[Any]) -> Any:
    """What a child's message says: its answer, or the error that it sent."""
    if kind == "done":
        return content[0]
    if kind == "refused":
        error, error.code = content
        raise error
    raise WorkerBug(*content)


def lost_worker(exitcode: int | None) -> WorkerLost:
    """The refusal that tells how a process ended, and what to do."""
    memory = "Close other programs, or give a mesh with fewer triangles, and run it again."
    if exitcode == -getattr(signal, "SIGKILL", 9):
        found = "was ended by the system, most often because memory ran out"
        return WorkerLost(where="The worker process", found=found, remedy=memory)
    if exitcode is not None and exitcode < 0:
        with contextlib.suppress(ValueError):
            name = signal.Signals(-exitcode).name
            found = f"crashed ({name}) before it was done"
            again = "Run it again; if it crashes again on the same mesh, report the mesh."
            return WorkerLost(where="The worker process", found=found, remedy=again)
    found = f"ended early (exit code {exitcode})"
    return WorkerLost(where="The worker process", found=found, remedy="Run it again.")


def end_process(process: SpawnProcess) -> None:
    """End the worker: asked first, then made to; leaves no process behind."""
    if process.pid is None:
        return
    if process.is_alive():
        process.terminate()
        process.join(GRACE_SECONDS)
    if process.is_alive():
        process.kill()
    process.join()
    process.close()


@contextlib.contextmanager
def interrupts_held() -> Iterator[None]:
    """Ctrl-C reaches every process of the terminal; a worker starts deaf to it.

    A child inherits the mask, so that only the parent decides what an interrupt means, and
    no half-started child prints a traceback. A parent that is itself asked to end waits until
    the child has all it needs to start.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, HELD)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _child(pipe: Connection, function: Callable[..., Any], args: tuple[Any, ...]) -> None:
    """What the worker runs."""
    begin_child()
    pipe.send_bytes(pickled_answer(lambda: function(*args, progress=_reporter(pipe))))
    pipe.close()


def begin_child() -> None:
    """What every spawned process does first: the parent alone decides when it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, HELD)
    threading.Thread(target=end_with_parent, daemon=True).start()


def pickled_answer(work: Callable[[], Any]) -> bytes:
    """What work comes to, to be sent: ("done", answer), ("refused", error, code) or
    ("bug", summary, trace). A process that runs out of memory ends itself, as lost."""
    try:
        return pickle.dumps(("done", work()), protocol=pickle.HIGHEST_PROTOCOL)
    except WorkshopError as error:
        return pickle.dumps(("refused", portable(error), error.code))
    except MemoryError:
        os.kill(os.getpid(), signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM)
        raise
    except Exception as error:
        summary = f"{type(error).__name__}: {error}"
        return pickle.dumps(("bug", summary, traceback.format_exc()))


def _reporter(pipe: Connection) -> Progress:
    """Reports through the pipe, thinned out so that a tight loop may report freely."""
    last_what, last_time = "", 0.0

    def report(what: str, share: float) -> None:
        nonlocal last_what, last_time
        now = time.monotonic()
        if what != last_what or share >= 1.0 or now - last_time >= REPORT_SECONDS:
            last_what, last_time = what, now
            pipe.send(("progress", what, float(share)))

    return report


def portable(error: WorkshopError) -> WorkshopError:
    """The refusal itself, or where it does not survive the way, one with the same words."""
    try:
        if str(pickle.loads(pickle.dumps(error))) == str(error):
            return error
    except Exception:
        pass  # a subclass with fields of its own; the plain refusal below says the same
    return WorkshopError(
        where=error.where, found=error.found, limit=error.limit, remedy=error.remedy
    )


def end_with_parent() -> None:
    """Waits for the parent to be gone, then ends this process."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
