"""Work that another stage need not wait for: it runs in a process of its own meanwhile."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from threading import Event
from typing import Any

from firstpull.services.worker import run_in_worker


@contextmanager
def aside(function: Callable[..., Any], *args: Any) -> Iterator[Callable[[], Any]]:
    """Starts ``function(*args, progress=...)`` elsewhere; gives what waits for its answer.

    Args:
        function: module-level; it, its arguments and its answer are pickled.

    Whatever leaves the block ends the other process too.
    """
    cancel = Event()

    def work() -> Any:
        return run_in_worker(function, *args, cancel=cancel)

    with ThreadPoolExecutor(max_workers=1) as pool:
        answer = pool.submit(work)
        try:
            yield answer.result
        finally:
            cancel.set()
