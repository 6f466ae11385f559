"""A kept sheet as it reads: its values, what was given, and what is wrong with it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from firstpull.core.job.kinds import KeptSheet
from firstpull.core.sheet import JobSheet
from firstpull.core.sheet_check import BadSheet
from firstpull.services.read_sheet import sheet_from_text


@dataclass(frozen=True)
class SheetRead:
    """What a sheet says.

    Args:
        sheet: its values; all defaults where it is no good.
        given: dotted names of the fields that it gives.
        problem: why it is no good; None where it is good.
    """

    sheet: JobSheet
    given: frozenset[str]
    problem: BadSheet | None = None


@lru_cache(maxsize=2048)  # a list of jobs asks this of each, every time
def sheet_read(text: str) -> SheetRead:
    """Reads a sheet; one that an earlier version took and this one does not is no refusal.

    >>> sorted(sheet_read("job: {good_castings: 4}").given)
    ['job.good_castings']
    """
    try:
        sheet, given = sheet_from_text(text)
    except BadSheet as bad:
        return SheetRead(JobSheet(), frozenset(), bad)
    return SheetRead(sheet, frozenset(given))


def sheet_told(kept: KeptSheet) -> dict[str, Any]:
    """A sheet as plain data: version, values as given, text, what is assumed, problems."""
    read = sheet_read(kept.text)
    return {
        "version": kept.version,
        "values": _values(read),
        "text": kept.text,
        "assumed": read.sheet.assumed(read.given),
        "problems": [read.problem.as_json()] if read.problem else [],
    }


def _values(read: SheetRead) -> dict[str, Any]:
    """Only what was given, by group and field."""
    every, given = read.sheet.model_dump(mode="json", exclude_none=True), {}
    for field in sorted(read.given):
        group, _, key = field.rpartition(".")
        held = given.setdefault(group, {}) if group else given
        held[key] = every[group][key] if group else every[key]
    return given
