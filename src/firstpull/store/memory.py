"""The stage store in memory: for tests, and where nothing should be left behind."""

from __future__ import annotations

from typing import Any

from firstpull.store.codec import decode, encode
from firstpull.store.keys import value_id


class MemoryStore:
    """Results by key, through the same bytes as on disc.

    Args:
        program: the id of the program that results are kept for.
    """

    def __init__(self, *, program: str = "") -> None:
        self.entries: dict[str, bytes] = {}
        self.program = program

    def program_id(self) -> str:
        """The id given at the start; set ``program`` to play a changed source."""
        return self.program

    def value_id(self, value: Any) -> str:
        """The id of a value; see keys.value_id."""
        return value_id(value)

    def get(self, key: str) -> tuple[Any] | None:
        """The kept value, in a tuple of one; ``None`` where there is none."""
        data = self.entries.get(key)
        return None if data is None else (decode(data),)

    def put(self, key: str, value: Any) -> None:
        """Keep a value under its key."""
        self.entries[key] = encode(value)
