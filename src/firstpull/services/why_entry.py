"""What the catalogue of whys says about one number of a plan, and how its entry is found."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any


@dataclass(frozen=True)
class Entry:
    """Where one kind of number of plan.json comes from.

    Paths are dotted, as in "parts.0.cast.waste_g". In those of an entry a ``*`` is the number
    that stands there in the path asked for, ``#`` is each item of a list, ``[NAME]`` the item of
    that name, ``@`` the one named as the title of the step after its colon, and ``mould#`` and
    ``casting#`` are the steps of mould and of one casting. "count PATH" is how many items a
    list has.

    Args:
        what: what the number is.
        formula: in words and symbols, as it would be done on paper.
        inputs: paths of what goes in.
        rows: figures of material rows, "kind.figure" or "row-id.figure"; one with a question
            mark holds only where ``rows_in`` names it.
        unit: where the number's own name does not say it.
        of: path of the name of what it belongs to.
        kept: path of an answer that the plan carries itself; it wins over the formula.
        rows_in: path of an answer that the plan carries, which names rows.
        field: of the job sheet, where a person said the number or nobody did.
        spread: path of p10, p50 and p90.
        when: path of a word, and how it must begin for this entry to hold; a material's name
            may stand in braces.
    """

    what: str
    formula: str
    inputs: tuple[str, ...] = ()
    rows: tuple[str, ...] = ()
    unit: str = ""
    of: str = ""
    kept: str = ""
    rows_in: str = ""
    field: str = ""
    spread: str = ""
    when: tuple[str, str] | None = None


Catalogue = Mapping[str, Entry | tuple[Entry, ...]]

Bindings = tuple[str, ...]


def pattern_of(key: str) -> re.Pattern[str]:
    """A catalogue's key as an expression: ``*`` is a number, ``~`` any name.

    >>> pattern_of("parts.*.cast.waste_g").fullmatch("parts.0.cast.waste_g").groups()
    ('0',)
    """
    words = {"*": r"(\d+)", "~": r"[^.]+"}
    return re.compile(r"\.".join(words.get(step) or re.escape(step) for step in key.split(".")))


def value_at(plan: Any, path: str) -> Any:
    """What stands at a path; None where nothing does.

    >>> value_at({"parts": [{"name": "mask"}]}, "parts.0.name")
    'mask'
    """
    for step in path.split("."):
        if isinstance(plan, list) and step.isdigit() and int(step) < len(plan):
            plan = plan[int(step)]
        elif isinstance(plan, dict) and step in plan:
            plan = plan[step]
        else:
            return None
    return plan


def bound(path: str, stars: Bindings) -> str:
    """A path with the numbers of the path asked for in place of its stars.

    >>> bound("parts.*.cast.coats.*.a_g", ("0", "2"))
    'parts.0.cast.coats.2.a_g'
    """
    numbers = iter(stars)
    return ".".join(next(numbers) if step == "*" else step for step in path.split("."))


def each(plan: Any, path: str, title: str) -> Iterator[str]:
    """The paths that one with ``#`` or ``@`` stands for, as far as the plan has them."""
    steps = path.split(".")
    for place, step in enumerate(steps):
        if step == "@" or step.startswith("[") or step.endswith("#"):
            head, tail = ".".join(steps[:place]), steps[place + 1 :]
            for index in _items(value_at(plan, head) or [], step, title):
                yield from each(plan, ".".join([head, str(index), *tail]), title)
            return
    if value_at(plan, path) is not None:
        yield path


FIRST_OF_CASTING = "Close the mould"


def _items(items: list[Any], step: str, title: str) -> Iterator[int]:
    closing = next(
        (n for n, item in enumerate(items) if item.get("title") == FIRST_OF_CASTING), len(items)
    )
    for index, item in enumerate(items):
        if step.startswith("["):
            chosen = item.get("name") == step[1:-1]
        elif step == "@":
            chosen = item.get("name") == title
        elif step == "#":
            chosen = True
        else:
            chosen = (index < closing) == (step == "mould#")
        if chosen:
            yield index


UNITS = {
    "cm3_h": "cm³/h",
    "g_cm3": "g/cm³",
    "cm3": "cm³",
    "cm2": "cm²",
    "mm": "mm",
    "ml": "ml",
    "g": "g",
    "min": "min",
    "deg": "°",
    "c": "°C",
    "pct": "%",
}


@cache
def unit_in(name: str) -> str:
    """The unit that a key's name ends with; empty where it has none.

    >>> unit_in("wall_mm"), unit_in("shell, cm3"), unit_in("triangles")
    ('mm', 'cm³', '')
    """
    for end, unit in UNITS.items():
        if name.endswith((f"_{end}", f", {end}")):
            return unit
    return ""


def words_in(name: str) -> str:
    """A key's name without its unit, as words.

    >>> words_in("show_area_cm2"), words_in("shell, cm3")
    ('show area', 'shell')
    """
    for end in UNITS:
        if name.endswith((f"_{end}", f", {end}")):
            name = name[: -len(end)].rstrip("_, ")
            break
    return name.replace("_", " ")
