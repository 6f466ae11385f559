"""How does a command end? Exit codes, and one sentence for each way that is not "done"."""

from __future__ import annotations

import contextlib
import json
import sys
import traceback
from collections.abc import Iterator
from typing import Any

import typer

from firstpull import wiring
from firstpull.core.errors import WorkshopError

REFUSED = 1
WRONG_USAGE = 2
INTERRUPTED = 130
FAULT = 70  # a fault of the program, told apart from a refusal


@contextlib.contextmanager
def told(*, as_json: bool) -> Iterator[None]:
    """Turns refusals, Ctrl-C and faults into a sentence and an exit code.

    Args:
        as_json: a refusal also goes to standard output as an object for machines.
    """
    try:
        yield
    except WorkshopError as error:
        if as_json:
            print_json({"refused": error.as_json()})
        _say(str(error))
        raise typer.Exit(WRONG_USAGE if error.code == "wrong_usage" else REFUSED) from None
    except KeyboardInterrupt:
        _say("Stopped; nothing was written.")
        raise typer.Exit(INTERRUPTED) from None
    except (typer.Exit, typer.BadParameter):
        raise
    except Exception as fault:
        _say(_fault_sentence(fault))
        raise typer.Exit(FAULT) from None


def print_json(value: dict[str, Any]) -> None:
    """One JSON object on standard output."""
    sys.stdout.write(json.dumps(value, indent=1, ensure_ascii=False) + "\n")


def _fault_sentence(fault: Exception) -> str:
    trace = getattr(fault, "trace", None) or "".join(traceback.format_exception(fault))
    if wiring.wants_traces():
        return trace.rstrip()
    name = str(fault) if hasattr(fault, "trace") else f"{type(fault).__name__}: {fault}"
    return (
        f"A fault in the program, not in your files ({name.splitlines()[0]}). "
        f"Nothing was written; run it again with {wiring.DEBUG}=1 to see where, and report that."
    )


def _say(sentence: str) -> None:
    sys.stderr.write(sentence + "\n")
