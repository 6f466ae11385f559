"""What the standby process runs: it keeps two runs in memory and answers one after the other."""

from __future__ import annotations

from collections import OrderedDict
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Any

from firstpull.services.worker import begin_child, pickled_answer

if TYPE_CHECKING:
    from firstpull.services.jobs.look_answers import RunShown

RUNS_KEPT = 2


def answer_questions(pipe: Connection, idle_seconds: float) -> None:
    """Answers until nobody asks for so long, or the other end is closed."""
    begin_child()
    shown: OrderedDict[str, RunShown] = OrderedDict()
    try:
        while pipe.poll(idle_seconds):
            run_dir, question, options = pipe.recv()
            pipe.send_bytes(pickled_answer(lambda: _answer(shown, run_dir, question, options)))  # noqa: B023
    except (EOFError, OSError):
        pass  # nobody is there any more
    pipe.close()


def _answer(
    shown: OrderedDict[str, RunShown], run_dir: str, question: str, options: dict[str, Any]
) -> Any:
    from firstpull.services.jobs.look_answers import RunShown, answer

    run = shown.pop(run_dir, None) or RunShown(Path(run_dir))
    shown[run_dir] = run
    while len(shown) > RUNS_KEPT:
        shown.popitem(last=False)
    return answer(run, question, **options)
