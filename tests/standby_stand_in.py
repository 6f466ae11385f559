"""Stands in for the standby process: each question is an order; it loads nothing, so is quick."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path
from typing import Any

from firstpull.services.jobs.look import NotYet
from firstpull.services.worker import begin_child, pickled_answer


def obedient(pipe: Any, idle_seconds: float) -> None:
    """Answers as asked until nobody asks for so long."""
    begin_child()
    while pipe.poll(idle_seconds):
        _, question, options = pipe.recv()

        def work(question: str = question, options: dict[str, Any] = options) -> Any:
            return done(question, **options)

        pipe.send_bytes(pickled_answer(work))
    pipe.close()


def done(question: str, *, note: str = "", wait: float = 0.0, number: int = 0) -> dict[str, int]:
    if note:
        Path(note).write_text(str(os.getpid()))
    time.sleep(wait)
    if question == "die":
        os.kill(os.getpid(), signal.SIGKILL)
    if question == "refuse":
        raise NotYet(where="The run", found="is not there")
    if question == "fault":
        raise KeyError("walls")
    return {"number": number, "pid": os.getpid()}
