"""The progress bar of long work: on standard error, only for a person who is looking."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator

from firstpull.core.progress import Progress, quiet


@contextlib.contextmanager
def progress_bar(*, wanted: bool) -> Iterator[Progress]:
    """A callback that draws a bar; a quiet one where nobody looks or none is wanted."""
    if not wanted or not sys.stderr.isatty():
        yield quiet
        return
    from rich import progress as rich_progress
    from rich.console import Console

    with rich_progress.Progress(
        rich_progress.TextColumn("{task.description}"),
        rich_progress.BarColumn(),
        rich_progress.TaskProgressColumn(),
        rich_progress.TimeElapsedColumn(),
        console=Console(stderr=True),
        transient=True,
    ) as bar:
        task = bar.add_task("starting", total=1.0)

        def report(what: str, share: float) -> None:
            # Stages that were found ready may report out of order; a bar never runs back.
            share = max(share, bar.tasks[0].completed)
            bar.update(task, description=what, completed=share)

        yield report
