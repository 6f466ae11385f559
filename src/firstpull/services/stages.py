"""Stages: plain functions called in order, each run only when something it needs changed."""

from __future__ import annotations

import contextlib
import hashlib
import inspect
import json
import weakref
from collections.abc import Callable
from dataclasses import is_dataclass
from typing import Any, Protocol, TypeVar

import numpy as np

from firstpull.core.progress import Progress, quiet, within

T = TypeVar("T")


class Store(Protocol):
    """What stages ask of a store; it answers by content and may forget at any time."""

    def program_id(self) -> str:
        """The id of the program's own sources and libraries."""

    def value_id(self, value: Any) -> str:
        """An id such that equal content has equal ids."""

    def get(self, key: str) -> tuple[Any] | None:
        """The value in a tuple of one, or ``None``."""

    def put(self, key: str, value: Any) -> None:
        """Keep a value; TypeError where its kind cannot be kept."""


class Stages:
    """Runs stages through a store and remembers which ran and which were found.

    Args:
        store: where results are kept.
        progress: told the name of each stage as it begins and ends.

    Attributes:
        ran: names of the stages whose function was called, in order.
        found: names of the stages whose value came from the store, in order.
    """

    def __init__(self, store: Store, progress: Progress = quiet) -> None:
        self.store, self.progress = store, progress
        self.ran: list[str] = []
        self.found: list[str] = []
        self._share = 0.0
        self._known: dict[int, tuple[weakref.ref[Any], str]] = {}

    def run(
        self,
        name: str,
        function: Callable[..., T],
        *inputs: Any,
        version: int = 1,
        span: tuple[float, float] | None = None,
        **options: Any,
    ) -> T:
        """The value of ``function(*inputs, **options)``, worked out or found.

        Its key is made of the stage's name and version, the program's id, the ids of the
        inputs and the options. A value that came out of a stage has that stage's key as its
        id; any other value has the hash of its content. So a changed option re-runs this
        stage and what hangs on it, and nothing else.

        Args:
            name: the stage, in words a maker understands: it is shown as progress.
            function: takes values and returns a value; must depend on nothing else. One
                that takes a keyword ``progress`` is given a callback, which is no part of
                the key.
            inputs: passed on in order.
            version: raise it when a stage means something new under an old name.
            span: the shares of the whole work at which this stage begins and ends; ``None``
                leaves the share where it stands.
            options: passed on by keyword.

        Raises:
            TypeError: an input, option or result is of a kind that cannot be kept.
        """
        low, self._share = span or (self._share, self._share)
        report = options.pop("progress", None) or within(self.progress, low, self._share)
        report(name, 0.0)
        key = self.key(name, *inputs, version=version, **options)
        kept = self.store.get(key)
        if kept is None:
            self.ran.append(name)
            value = function(*inputs, **options, **_progress_for(function, report))
            self.store.put(key, value)
        else:
            self.found.append(name)
            value = kept[0]
        self._remember(value, key)
        report(name, 1.0)
        return value

    def key(self, name: str, *inputs: Any, version: int = 1, **options: Any) -> str:
        """The key under which ``run`` keeps this stage's value."""
        parts = [
            name,
            version,
            self.store.program_id(),
            [self.id_of(value) for value in inputs],
            {option: self.id_of(value) for option, value in options.items()},
        ]
        text = json.dumps(parts, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()

    def id_of(self, value: Any) -> str:
        """A stage's value: the stage's key. Anything else: the hash of its content."""
        known = self._known.get(id(value))
        if known is not None and known[0]() is value:
            return known[1]
        return self.store.value_id(value)

    def _remember(self, value: Any, key: str) -> None:
        # Only objects that a stage alone can have made: a small number or an empty tuple may
        # be the same object as one that came from elsewhere.
        if isinstance(value, np.ndarray) or is_dataclass(value):
            with contextlib.suppress(TypeError):  # a class with slots takes no weak reference
                self._known[id(value)] = (weakref.ref(value), key)


def _progress_for(function: Callable[..., Any], report: Progress) -> dict[str, Any]:
    """The keyword ``progress`` for a function that names one."""
    takes = "progress" in inspect.signature(function).parameters
    return {"progress": report} if takes else {}
