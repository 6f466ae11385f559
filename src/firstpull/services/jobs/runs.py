"""Planning, one run after the other, each in a process of its own."""

from __future__ import annotations

import contextlib
import datetime
import shutil
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from firstpull.core.errors import WorkshopError
from firstpull.core.job.kinds import Run
from firstpull.core.job.refusals import NoSuchThing
from firstpull.core.progress import Progress
from firstpull.services.jobs.desk import Desk
from firstpull.services.jobs.look import LOOK_READY
from firstpull.services.jobs.places import JOBS, RUNS, run_folder
from firstpull.services.jobs.plan_here import PlanOrder, plan_here
from firstpull.services.jobs.told import run_told
from firstpull.services.worker import Cancelled, WorkerBug, run_in_worker

TOLD_SECONDS = 0.2  # between two events of one run
SAVED_SECONDS = 1.0  # between two saves of one run's progress
KEPT_RUNS = 3  # finished runs of a job whose files stay, besides the one that is shown
SAVE_TRIES, TRY_AGAIN_SECONDS = 5, 0.2
CLOSE_SECONDS = 10.0

T = TypeVar("T")
Work = Callable[..., dict[str, Any]]
Publish = Callable[[str, dict[str, Any]], None]


class ServerStopped(WorkshopError):
    """The program ended while a plan was being worked out."""

    code = "server_stopped"


class ProgramFault(WorkshopError):
    """Something went wrong that is nobody's input."""

    code = "program_fault"


@dataclass
class _Working:
    """The run that is being worked on."""

    run: Run
    cancel: threading.Event = field(default_factory=threading.Event)
    called_off: bool = False
    told_at: float = -1e9
    saved_at: float = -1e9


class Runner:
    """A queue of runs and the thread that works it off, one plan at a time.

    The newest request of a job replaces its waiting one and ends its working one. The mesh is
    never read here: a plan is worked out in a spawned process, and its memory goes with it.

    Args:
        desk: where runs are kept.
        folder: the workspace.
        store: keeps stage results; handed to the worker.
        publish: told ("run", the run as plain data); called from the runner's thread and from
            whoever starts or cancels.
        clock: the time, with a zone.
        work: what plans a run; see plan_here.
        on_planned: told a run that ended well, such as to warm it up for questions.
        on_fault: told what went wrong in the program, for the server's log.

    The thread starts with the first run. ``close`` ends it.
    """

    def __init__(
        self,
        desk: Desk,
        *,
        folder: Path,
        store: Any,
        publish: Publish,
        clock: Callable[[], datetime.datetime],
        work: Work = plan_here,
        on_planned: Callable[[Run], None] | None = None,
        on_fault: Callable[[BaseException], None] | None = None,
    ) -> None:
        self._desk, self._folder, self._store = desk, folder, store
        self._publish, self._clock, self._work = publish, clock, work
        self._on_planned, self._on_fault = on_planned, on_fault
        self._lock = threading.Condition(threading.RLock())
        self._queue: list[str] = []
        self._working: _Working | None = None
        self._closing = False
        self._thread: threading.Thread | None = None

    def start(self, job_id: str) -> Run:
        """Plans a job as it stands now; earlier runs of it that have not ended are called off.

        Raises:
            NoSuchThing: no such job.
        """
        with self._lock:
            earlier = [r for r in self._desk.runs(job_id) if r.is_under_way]
            run = self._desk.add_run(job_id, now=self._clock())
            for old in earlier:
                self.cancel(old.id)
            self._tell(run)
            self._enqueue(run.id)
        return run

    def cancel(self, run_id: str) -> Run:
        """Calls a run off; one that has ended stays as it is.

        A working one is told as cancelled once its process is gone, which takes a moment.

        Raises:
            NoSuchThing: no such run.
        """
        with self._lock:
            if self._working is not None and self._working.run.id == run_id:
                self._working.called_off = True
                self._working.cancel.set()
                return self._working.run
            if run_id in self._queue:
                self._queue.remove(run_id)
            run = self._desk.run(run_id)
            if not run.is_under_way:
                return run
            run = replace(run, state="cancelled", ended_at=self._clock())
            self._desk.save_run(run)
        self._tell(run)
        self._remove(run)
        return run

    def current(self, run: Run) -> Run:
        """The run with its progress as of this moment."""
        with self._lock:
            working = self._working
            return working.run if working is not None and working.run.id == run.id else run

    def resume(self) -> None:
        """After a start of the server: queues what waited, and tells what was broken off.

        Called before anything is started, so whatever is marked as working was broken off.
        """
        with self._lock:
            for run in self._desk.runs_under_way():
                if run.state == "waiting":
                    self._enqueue(run.id)
                else:
                    self._desk.save_run(self._failed(run, _stopped()))
                    self._guarded(partial(self._sweep, run.job_id))

    def close(self) -> None:
        """Ends the working process and the thread; what waited, waits on for the next time."""
        with self._lock:
            self._closing = True
            if self._working is not None:
                self._working.cancel.set()
            self._lock.notify_all()
            thread = self._thread
        if thread is not None:
            thread.join(CLOSE_SECONDS)

    def _enqueue(self, run_id: str) -> None:
        self._queue.append(run_id)
        if self._thread is None and not self._closing:
            self._thread = threading.Thread(target=self._run_queue, name="runs", daemon=True)
            self._thread.start()
        self._lock.notify_all()

    def _run_queue(self) -> None:
        while True:
            with self._lock:
                while not self._queue and not self._closing:
                    self._lock.wait()
                if self._closing:
                    return
                run_id = self._queue.pop(0)
                try:
                    working = self._taken(run_id)
                except Exception as fault:
                    self._note(fault)
                    continue
                self._working = working
            if working is not None:
                self._finish(working, self._worked(working))

    def _taken(self, run_id: str) -> _Working | None:
        """The run, told to be working; None where it is not waiting any more."""
        try:
            run = self._patiently(lambda: self._desk.run(run_id))
        except NoSuchThing:
            return None
        if run.state != "waiting":
            return None
        run = replace(run, state="working", started_at=self._clock(), share=0.0)
        self._save(run)
        working = _Working(run)
        self._tell(working.run)
        return working

    def _worked(self, working: _Working) -> Run:
        """The run as it ended; never raises."""
        run = working.run
        try:
            summary = run_in_worker(
                self._work,
                self._order(run),
                self._store,
                progress=self._follow(working),
                cancel=working.cancel,
            )
            end = replace(working.run, state="done", share=1.0, summary=summary)
            return replace(end, ended_at=self._clock())
        except Cancelled:
            if not working.called_off:  # the server ends: next time it is planned anew
                return replace(run, state="waiting", share=0.0, what="", started_at=None)
            return replace(working.run, state="cancelled", ended_at=self._clock())
        except WorkshopError as refusal:
            return self._failed(working.run, refusal)
        except Exception as fault:
            self._note(fault)
            return self._failed(working.run, _fault(fault))

    def _finish(self, working: _Working, ended: Run) -> None:
        """Saves and tells how a run ended, and clears up; never raises."""
        if ended.state in ("cancelled", "waiting"):
            self._remove(ended)
        saved = self._save(ended)
        with self._lock:
            self._working = None
        if not saved:
            return
        self._tell(ended)
        if ended.state != "waiting":
            self._guarded(lambda: self._sweep(ended.job_id))
        if ended.state == "done" and self._on_planned is not None:
            told = self._on_planned
            self._guarded(lambda: told(ended))

    def _order(self, run: Run) -> PlanOrder:
        job = self._desk.job(run.job_id)
        revision = next(r for r in job.revisions if r.id == run.revision_id)
        return PlanOrder(
            run_dir=run_folder(self._folder, run),
            mesh_path=self._folder / revision.path,
            name=job.name,
            sheet_text=job.sheet.text,
            figures=tuple(self._desk.own_figures()),
            file_name=revision.file_name,
        )

    def _follow(self, working: _Working) -> Progress:
        """Progress as it comes from the worker, told and saved now and then."""

        def progress(what: str, share: float) -> None:
            now = time.monotonic()
            with self._lock:
                working.run = replace(working.run, what=what, share=max(share, working.run.share))
            if what == LOOK_READY or now - working.told_at >= TOLD_SECONDS:
                working.told_at = now
                self._tell(working.run)
            if now - working.saved_at >= SAVED_SECONDS:
                working.saved_at = now
                self._guarded(lambda: self._desk.save_run(working.run))

        return progress

    def _failed(self, run: Run, refusal: WorkshopError) -> Run:
        return replace(run, state="failed", refusal=refusal.as_json(), ended_at=self._clock())

    def _save(self, run: Run) -> bool:
        """Saves a change of state; False where the run is gone."""
        try:
            self._patiently(lambda: self._desk.save_run(run))
        except NoSuchThing:  # swept away with its job meanwhile
            self._remove(run)
            return False
        except Exception as fault:  # told all the same: a page must not wait for ever
            self._note(fault)
        return True

    def _patiently(self, call: Callable[[], T]) -> T:
        """A call to the desk; one that fails for a moment is made again."""
        for _ in range(SAVE_TRIES - 1):
            try:
                return call()
            except NoSuchThing:
                raise
            except Exception:
                time.sleep(TRY_AGAIN_SECONDS)
        return call()

    def _tell(self, run: Run) -> None:
        self._guarded(lambda: self._publish("run", run_told(run)))

    def _remove(self, run: Run) -> None:
        shutil.rmtree(run_folder(self._folder, run), ignore_errors=True)

    def _sweep(self, job_id: str) -> None:
        """Removes the files of older runs, and what ended processes left in newer ones."""
        runs = self._desk.runs(job_id)
        plan = self._desk.job(job_id).last_plan
        finished = [run.id for run in runs if run.state in ("done", "failed")]
        keep = {*finished[:KEPT_RUNS], *(run.id for run in runs if run.is_under_way)}
        keep |= {plan.id} if plan is not None else set()
        home = self._folder / JOBS / job_id / RUNS
        for folder in home.iterdir() if home.is_dir() else ():
            if folder.name not in keep:
                shutil.rmtree(folder, ignore_errors=True)
                continue
            for left in folder.glob(".plan.*"):
                if folder.name in finished:
                    shutil.rmtree(left, ignore_errors=True)

    def _guarded(self, call: Callable[[], None]) -> None:
        """What goes wrong beside the work must not end it."""
        try:
            call()
        except Exception as fault:
            self._note(fault)

    def _note(self, fault: BaseException) -> None:
        if self._on_fault is not None:
            with contextlib.suppress(Exception):
                self._on_fault(fault)


def _fault(fault: Exception) -> ProgramFault:
    said = str(fault) if isinstance(fault, WorkerBug) else f"{type(fault).__name__}: {fault}"
    return ProgramFault(
        where="The program",
        found=f"made a mistake while it planned ({said[:200]})",
        limit="the job and its earlier plan are as they were",
        remedy="Plan it again; if it happens again, report it with the mesh and the sheet.",
    )


def _stopped() -> ServerStopped:
    return ServerStopped(
        where="This plan",
        found="was broken off when the program ended",
        remedy="Plan it again; what was finished of it is not worked out anew.",
    )
