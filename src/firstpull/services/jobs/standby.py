"""A process that stays ready for questions about a run: maps over its meshes, walls and paint."""

from __future__ import annotations

import contextlib
import itertools
import multiprocessing
import pickle
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from pathlib import Path
from typing import Any

from firstpull.core.errors import WorkshopError
from firstpull.core.job.kinds import Run
from firstpull.services.jobs.places import run_folder
from firstpull.services.jobs.standby_child import answer_questions
from firstpull.services.worker import answer_of, end_process, interrupts_held, lost_worker

IDLE_SECONDS = 600.0
"""After so long without a question the process ends; the next one starts it anew."""

TIMEOUT_SECONDS = 60.0
ENDING_SECONDS = 2.0  # for a process that has let go of the pipe
NEWEST_ONLY = {"preview", "paint"}
"""Of each of these kinds of question only the newest that waits is answered."""


class StandbyLost(WorkshopError):
    """The process ended in the middle of a question."""

    code = "standby_lost"


class StandbySlow(WorkshopError):
    """A question took too long."""

    code = "standby_slow"


class Overtaken(WorkshopError):
    """Something newer of the kind was asked for before this was begun."""

    code = "cancelled"


@dataclass(eq=False)
class _Ticket:
    """A question that waits for its turn."""

    question: str
    number: int
    overtaken: bool = False


@dataclass
class _Child:
    """The process and our end of the pipe."""

    process: SpawnProcess
    pipe: Connection


class Standby:
    """Asks a process of its own, which is started with the first question.

    It keeps the last two runs in memory and answers one question at a time, the oldest first.
    It ends by itself after ten idle minutes; a crash is told to whoever asked, and the next
    question starts a new one. Thread-safe.

    Args:
        folder: the workspace.
        idle_seconds: after which the process ends.
        on_fault: told what went wrong in the program, for the server's log.
    """

    def __init__(
        self,
        folder: Path,
        *,
        idle_seconds: float = IDLE_SECONDS,
        on_fault: Callable[[BaseException], None] | None = None,
    ) -> None:
        self._folder, self._idle_seconds, self._on_fault = folder, idle_seconds, on_fault
        self._turn = threading.Condition()
        self._tickets: list[_Ticket] = []
        self._numbers = itertools.count(1)
        self._child: _Child | None = None
        self._closed = False

    def ask(
        self, run: Run, question: str, *, timeout: float = TIMEOUT_SECONDS, **options: Any
    ) -> Any:
        """The answer to a question about a run.

        Args:
            run: whose files are there.
            question: "map" with ``mesh``, ``name`` and ``direction`` gives the path of the
                map's box; "preview" with ``walls`` and ``pulls`` gives the preview as plain
                data, "paint" with ``dabs`` the border; "warm" gets ready for previews.
            timeout: seconds, waiting included.

        Raises:
            WorkshopError: the question is refused; says why.
            Overtaken: a newer preview took this one's place.
            StandbyLost: the process ended over the question.
            StandbySlow: it took longer than the timeout.
            WorkerBug: a fault of the program.
        """
        until = time.monotonic() + timeout
        ticket = self._wait_for_turn(question, until)
        try:
            message = (str(run_folder(self._folder, run)), question, options)
            return self._asked(message, until)
        finally:
            with self._turn:
                self._tickets.remove(ticket)
                self._turn.notify_all()

    def warm(self, run: Run) -> None:
        """Gets ready for previews of a run, without waiting for it."""

        def get_ready() -> None:
            with contextlib.suppress(WorkshopError):
                try:
                    self.ask(run, "warm")
                except RuntimeError as fault:
                    if self._on_fault is not None:
                        self._on_fault(fault)

        threading.Thread(target=get_ready, name="standby-warm", daemon=True).start()

    def close(self) -> None:
        """Ends the process, whatever it is doing; later questions are refused."""
        with self._turn:
            self._closed = True
            child = self._child
        if child is not None and child.process.pid is not None:
            with contextlib.suppress(ValueError):  # its asker has just ended it
                child.process.kill()
        with self._turn:
            self._turn.notify_all()
            self._turn.wait_for(lambda: not self._tickets, timeout=5.0)
            self._end()

    @property
    def pid(self) -> int | None:
        """Of the process; None where there is none."""
        child = self._child
        return None if child is None else child.process.pid

    def _wait_for_turn(self, question: str, until: float) -> _Ticket:
        with self._turn:
            if self._closed:
                raise _closed()
            ticket = _Ticket(question, next(self._numbers))
            if question in NEWEST_ONLY:
                for waiting in self._tickets[1:]:
                    waiting.overtaken |= waiting.question == question
            self._tickets.append(ticket)
            self._turn.notify_all()
            ready = self._turn.wait_for(
                lambda: self._tickets[0] is ticket or ticket.overtaken or self._closed,
                timeout=max(0.0, until - time.monotonic()),
            )
            if ready and not ticket.overtaken and not self._closed:
                return ticket
            self._tickets.remove(ticket)
            self._turn.notify_all()
        if ticket.overtaken:
            raise Overtaken(
                where="This preview",
                found="was not begun",
                limit="a newer one was asked for meanwhile",
                remedy="Take the newer one.",
            )
        raise _closed() if self._closed else _slow()

    def _asked(self, message: Any, until: float) -> Any:
        """Sends the question; a process that had just ended by itself is started anew."""
        for attempt in (1, 2):
            child = self._ready_child()
            try:
                child.pipe.send(message)
                if not child.pipe.poll(max(0.0, until - time.monotonic())):
                    child.process.kill()
                    self._end()
                    raise _slow()
                kind, *content = pickle.loads(child.pipe.recv_bytes())
            except (EOFError, OSError):
                code = self._end()
                if self._closed:
                    raise _closed() from None
                if code == 0 and attempt == 1:  # it had been idle for long
                    continue
                raise _lost(code) from None
            return answer_of(kind, content)
        raise AssertionError("a second attempt always ends")

    def _ready_child(self) -> _Child:
        if self._child is not None and self._child.process.is_alive():
            return self._child
        self._end()
        with self._turn:
            if self._closed:
                raise _closed()
            context = multiprocessing.get_context("spawn")
            ours, theirs = context.Pipe()
            process = context.Process(target=answer_questions, args=(theirs, self._idle_seconds))
            with interrupts_held():
                process.start()
            theirs.close()
            self._child = _Child(process, ours)
            return self._child

    def _end(self) -> int | None:
        """Ends the process if there is one; how it ended."""
        child, self._child = self._child, None
        if child is None:
            return None
        child.pipe.close()
        child.process.join(ENDING_SECONDS)
        code = child.process.exitcode
        end_process(child.process)
        return code


def _lost(exitcode: int | None) -> StandbyLost:
    told = lost_worker(exitcode)
    return StandbyLost(
        where="The process that answers questions about a run",
        found=told.found,
        limit="nothing of the job is lost",
        remedy="Ask again; it is started anew.",
    )


def _slow() -> StandbySlow:
    return StandbySlow(
        where="The answer",
        found="took too long and was given up",
        limit="other work may keep this computer busy",
        remedy="Ask again in a moment.",
    )


def _closed() -> StandbyLost:
    return StandbyLost(
        where="The program", found="is ending", remedy="Start it again, then ask again."
    )
