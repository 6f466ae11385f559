"""Progress as core reports it: a stage name and a share done."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str, float], None]
"""Called with (what is being done, share done of the whole from 0 to 1)."""


def quiet(what: str, share: float) -> None:
    """A progress callback that says nothing."""


def within(progress: Progress, low: float, high: float) -> Progress:
    """The same callback for a part of the work that runs from ``low`` to ``high``.

    >>> seen = []
    >>> within(lambda what, share: seen.append((what, share)), 0.5, 1.0)("skin", 0.5)
    >>> seen
    [('skin', 0.75)]
    """

    def report(what: str, share: float) -> None:
        progress(what, low + (high - low) * share)

    return report
