"""Entry of the ``firstpull`` command: says "stopped" in one sentence from the first moment."""

from __future__ import annotations

import sys

INTERRUPTED = 130
TERMINATED = 143
STOPPED = "Stopped; nothing was written.\n"


def main() -> None:
    """Runs the command; Ctrl-C and a request to end come out as one sentence."""
    try:
        from firstpull.cli.app import main as run

        run()
    except KeyboardInterrupt:
        sys.stderr.write(STOPPED)
        sys.exit(INTERRUPTED)
    except SystemExit as end:
        if end.code == TERMINATED:
            sys.stderr.write(STOPPED)
        raise
