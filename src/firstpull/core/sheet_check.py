"""Checking what a maker wrote against the job sheet, one clear sentence for the first fault."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from firstpull.core.errors import WorkshopError
from firstpull.core.figures import told_number
from firstpull.core.sheet import JobSheet, describe_fields, describe_list_fields
from firstpull.core.sheet_fields import FieldEntry


class BadSheet(WorkshopError):
    """A field of the job sheet is unknown, of the wrong kind, or out of range."""

    code = "bad_sheet"


Place = Callable[[str], str]
"""Says where a dotted field stands, such as 'Line 7 of "job.yaml"'."""


def check_sheet(values: Mapping[str, Any], *, place: Place) -> JobSheet:
    """The job sheet of these values.

    Args:
        values: nested mappings as a sheet is written; what is missing takes its default.
        place: says where a field stands, for the refusal.

    Raises:
        BadSheet: where, which field, what was found, what is allowed.

    >>> check_sheet({"skin": {"thickness_mm": 40}}, place=lambda field: "The sheet")
    Traceback (most recent call last):
    firstpull.core.sheet_check.BadSheet: The sheet: skin.thickness_mm is 40 mm; it may be 3 to \
15 mm. Change it, or leave it out for 6 mm.
    """
    try:
        return JobSheet.model_validate(dict(values))
    except ValidationError as invalid:
        raise _refusal(invalid.errors()[0], place) from None


def with_answers(sheet: JobSheet, answers: Mapping[str, Any], *, place: Place) -> JobSheet:
    """The sheet with some fields replaced by what was said beside it.

    Args:
        answers: dotted field name to value, such as {"master.wall_mm": 2.5}.
        place: says where an answer was given, such as "Option --wall".

    Raises:
        BadSheet: as :func:`check_sheet`.

    >>> with_answers(JobSheet(), {"shell.pieces": 2}, place=str).shell.pieces
    2
    """
    values = sheet.model_dump()
    for field, value in answers.items():
        section, _, name = field.rpartition(".")
        (values[section] if section else values)[name] = value
    return check_sheet(values, place=place)


def _refusal(error: ErrorDetails, place: Place) -> BadSheet:
    path = [str(step) for step in error["loc"] if not isinstance(step, int)]
    field = ".".join(path[:2])
    entries = {entry.name: entry for entry in describe_fields()}
    if len(path) > 2 or error["type"] == "wall":
        return _in_a_list(error, field, path[2:], place)
    if error["type"] == "extra_forbidden":
        return _unknown(field, entries, place)
    entry = entries.get(field)
    if entry is None:
        return _bad_section(field, error, place)
    return BadSheet(
        where=f"{place(field)}: {field}",
        found=_found(error, entry.unit),
        limit=f"it may be {entry.allowed}",
        remedy=_remedy(error, entry),
    )


def _in_a_list(error: ErrorDetails, field: str, inside: list[str], place: Place) -> BadSheet:
    """A fault within one of the walls or dabs that a field lists."""
    known = {e.name: e for e in describe_list_fields() if e.name.startswith(f"{field}.")}
    number = next((step + 1 for step in error["loc"] if isinstance(step, int)), 1)
    where = ", ".join([f"{place(field)}: {field}", f"number {number}", *inside[:1]])
    entry = known.get(".".join([field, *inside[:1]]))
    if error["type"] == "wall":
        return BadSheet(
            where=where,
            found=error["msg"],
            limit="a wall is either a plane, through and facing, or a line on the body",
            remedy="Give one of the two whole.",
        )
    if entry is None:
        names = ", ".join(name.rpartition(".")[2] for name in known)
        found, limit = "is not known there", f"it may hold {names}"
        return BadSheet(where=where, found=found, limit=limit, remedy="Take it out or correct it.")
    found = "is missing" if error["type"] == "missing" else _found(error, entry.unit)
    return BadSheet(
        where=where, found=found, limit=f"it may be {entry.allowed}", remedy="Change it."
    )


def _found(error: ErrorDetails, unit: str) -> str:
    value = error["input"]
    if isinstance(value, bool):
        return "is yes" if value else "is no"
    if error["type"] in ("too_short", "too_long") and isinstance(value, list):
        return f"holds {len(value)}"
    if isinstance(value, Mapping):
        return "is a group of fields"
    is_number = isinstance(value, int | float)
    shown = _as_written(value) if is_number else str(value)
    shown = shown if len(shown) <= 60 else shown[:57] + "..."
    return (
        f'is "{shown}"'
        if isinstance(value, str)
        else f"is {shown} {unit if is_number else ''}".rstrip()
    )


def _as_written(value: float) -> str:
    """A figure as it was written; one with many digits, such as 200 °F in °C, with four.

    >>> _as_written(127), _as_written(15.001), _as_written(93.3333333)
    ('127', '15.001', '93.33')
    """
    if isinstance(value, int):
        return str(value)
    if abs(value) >= 1e12:
        return f"{value:g}"
    return told_number(value, 6 if float(f"{value:.6g}") == value else 4)


def _remedy(error: ErrorDetails, entry: FieldEntry) -> str:
    kind = error["type"]
    if kind == "string_type":
        return "Put the text in quotes."
    if isinstance(error["input"], str) and kind in ("float_type", "int_type"):
        return "Write a plain number with a point, without unit or quotes."
    default = "" if entry.default is None else f" for {entry.default_words}"
    if isinstance(entry.default, int | float) and not isinstance(entry.default, bool):
        default = f"{default} {entry.unit}".rstrip()
    return f"Change it, or leave it out{default}."


def _unknown(field: str, entries: Mapping[str, FieldEntry], place: Place) -> BadSheet:
    groups = sorted({name.split(".")[0] for name in entries})
    near = nearest_name(field, [*entries] if "." in field else [*entries, *groups])
    inside = [name for name in entries if name.startswith(field.split(".")[0] + ".")]
    known = inside or groups
    return BadSheet(
        where=place(field),
        found=f'has a field "{field}" that a job sheet does not know',
        limit="" if near else "it knows " + ", ".join(known),
        remedy=f'Did you mean "{near}"?' if near else "Take it out or correct its name.",
    )


def nearest_name(field: str, names: list[str]) -> str | None:
    """The known name most like what was written, or None where none is.

    A right name in the wrong section is found too.

    >>> nearest_name("skin.thicknes_mm", ["skin.thickness_mm", "shell.thickness_mm"])
    'skin.thickness_mm'
    >>> nearest_name("humidity_pct", ["shop.humidity_pct", "grid_mm"])
    'shop.humidity_pct'
    """
    last = field.rpartition(".")[2]
    same = [name for name in names if name.rpartition(".")[2] == last]
    close = difflib.get_close_matches(field, names, n=1, cutoff=0.7)
    if same and not close:
        return same[0]
    if not close:
        tails = {name.rpartition(".")[2]: name for name in reversed(names)}
        tail = difflib.get_close_matches(last, list(tails), n=1, cutoff=0.75)
        return tails[tail[0]] if tail else None
    return close[0]


def _bad_section(field: str, error: ErrorDetails, place: Place) -> BadSheet:
    if error["type"] == "model_type":
        inside = [e.name for e in describe_fields() if e.name.startswith(field + ".")]
        return BadSheet(
            where=f"{place(field)}: {field}",
            found="is not a group of fields",
            limit="it holds " + ", ".join(name.rpartition(".")[2] for name in inside),
            remedy="Write each of them on a line of its own, indented below.",
        )
    remedies = {
        "face_coat": "Make the wall thicker or the face coat thinner.",
        "shell": "Printed shells are of printed-plastic, laid ones are not; change one of the two.",
        "pulls": "Give a pull for each piece, or leave one of the two out.",
        "walls": "Each wall makes one piece more: ask for more pieces or take a wall out.",
    }
    return BadSheet(
        where=f"{place(field)}: {field}",
        found=error["msg"],
        limit="the two do not go together",
        remedy=remedies[error["type"]],
    )
