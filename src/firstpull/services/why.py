"""Why is this number what it is? Every number of a plan answers with formula, inputs and rows.

The answers are made from plan.json alone, so that a face that only shows plans can give them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

from firstpull.core.errors import WorkshopError
from firstpull.services.why_choice import CHOICES
from firstpull.services.why_entry import (
    Bindings,
    Catalogue,
    Entry,
    bound,
    each,
    pattern_of,
    unit_in,
    value_at,
    words_in,
)
from firstpull.services.why_mix import MIXES
from firstpull.services.why_mould import MOULDS
from firstpull.services.why_part import PART
from firstpull.services.why_shopping import SHOPPING
from firstpull.services.why_work import WORK

Plan = Mapping[str, Any]

ROOMS: tuple[tuple[str, Catalogue], ...] = (
    ("The part", PART),
    ("The mould", MOULDS),
    ("How many pieces", CHOICES),
    ("Coats and castings", MIXES),
    ("Steps and schedule", WORK),
    ("Shopping", SHOPPING),
)

WITHOUT_ANSWER = {
    "coordinates, directions and outlines of shapes": (
        "place_mm", "places_mm", "where_mm", "low_mm", "high_mm", "facing", "pull", "pulls",
        "through", "bend", "bolts", "bolts_mm", "dowels_mm", "outlines", "outline_mm",
        "profile_mm", "marks_mm", "up_in_input",
    ),
    "matrices": ("to_mould", "frame", "rotation"),
    "figures of rows, which are answers themselves": ("materials", "own_figures"),
    "answers that the plan carries": ("why", "whys", "mass_why", "pull_mass_why"),
    "the version of the contract": ("schema",),
}  # fmt: skip
"""Keys under which numbers need no answer, by the reason."""

NOT_A_MATRIX = "frame.grid_mm", "frame.board_z_mm"
MIDDLE, ENDS = "p50", {"p10": "one in ten comes out below", "p90": "one in ten comes out above"}


class UnknownNumber(WorkshopError):
    """No number stands at that path of the plan, or it is one that has no answer."""

    code = "unknown_number"


def why(plan: Plan, path: str) -> dict[str, Any]:
    """Where one number of a plan comes from.

    Args:
        plan: the content of plan.json.
        path: dotted, list items by number from 0, such as "parts.0.cast.pull_mass_g".

    Returns:
        ``what`` it is, ``value``, ``unit``, ``formula``, ``inputs`` (each what, value, unit
        and path), ``rows`` (figures of material rows with source and mark) and ``spread``
        (p10, p50, p90, or None).

    Raises:
        UnknownNumber: there is no such number, or it is a coordinate or the like.
    """
    value = value_at(plan, path)
    found = _entry_for(plan, path)
    if not _is_number(value) or found is None:
        raise _unknown(plan, path, value)
    entry, stars = found
    answer = _carried(plan, entry, stars)
    return {
        "what": _what(plan, path, entry, stars),
        "value": _middle(value),
        "unit": _unit(plan, path, entry),
        "formula": answer["formula"] if answer else _formula(plan, path, entry),
        "inputs": _kept_inputs(answer) if answer else _inputs(plan, path, entry, stars),
        "rows": _kept_rows(answer) if answer else _rows(plan, entry, stars),
        "spread": value_at(plan, bound(entry.spread, stars)) if entry.spread else None,
    }


def numbers_of(plan: Plan) -> dict[str, list[dict[str, Any]]]:
    """All numbers that have an answer, by the room that they belong to.

    Returns:
        For each room a list of path, what it is, value and unit.
    """
    rooms: dict[str, list[dict[str, Any]]] = {room: [] for room, _ in ROOMS}
    for path in number_paths(plan):
        found = None if is_without_answer(path) else _matching(path)
        if found is not None and _entry_for(plan, path) is not None:
            rooms[found[0]].append(_input(plan, path))
    return rooms


def number_paths(plan: Plan) -> Iterator[str]:
    """The path of every number in a plan; an estimate is one number."""
    yield from _walk(plan, "")


def is_without_answer(path: str) -> bool:
    """Whether it is of the kinds that ``WITHOUT_ANSWER`` names."""
    if path.endswith(NOT_A_MATRIX):
        return False
    steps = set(path.split("."))
    return any(steps.intersection(keys) for keys in WITHOUT_ANSWER.values())


def _walk(value: Any, path: str) -> Iterator[str]:
    if _is_number(value):
        yield path
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _walk(inner, f"{path}.{key}" if path else key)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _walk(inner, f"{path}.{index}")


def _is_number(value: Any) -> bool:
    if isinstance(value, Mapping):
        return MIDDLE in value
    return isinstance(value, int | float) and not isinstance(value, bool)


def _middle(value: Any) -> float:
    number: float = value[MIDDLE] if isinstance(value, Mapping) else value
    return number


@cache
def _patterns() -> dict[str, list[tuple[Any, str, tuple[Entry, ...]]]]:
    """The catalogue by the last named step of its keys, the closest key first."""
    found: dict[str, list[tuple[Any, str, tuple[Entry, ...]]]] = {}
    for room, catalogue in ROOMS:
        for key, entry in catalogue.items():
            entries = entry if isinstance(entry, tuple) else (entry,)
            row = (pattern_of(key), room, entries)
            found.setdefault(_last_name(key), []).append(row)
    for rows in found.values():
        rows.sort(key=lambda row: row[0].groups)
    return found


def _last_name(path: str) -> str:
    steps = [s for s in path.split(".") if not s.isdigit() and s not in ("*", "~")]
    return steps[-1] if steps else ""


def _matching(path: str) -> tuple[str, tuple[Entry, ...], Bindings] | None:
    without_end = path.removesuffix(f".{path.rpartition('.')[2]}")
    for name in (_last_name(path), _last_name(without_end)):
        for pattern, room, entries in _patterns().get(name, ()):
            match = pattern.fullmatch(path)
            if match:
                return room, entries, match.groups()
    return None


def _whole(path: str) -> str:
    """The path of the estimate of which one end is asked for."""
    head, _, end = path.rpartition(".")
    return head if end in (MIDDLE, *ENDS) else path


def _entry_for(plan: Plan, path: str) -> tuple[Entry, Bindings] | None:
    path = _whole(path)
    found = _matching(path)
    if found is None:
        return None
    _, entries, stars = found
    for entry in entries:
        if entry.when is None or _begins(plan, entry.when, stars):
            return entry, stars
    return None


def _begins(plan: Plan, when: tuple[str, str], stars: Bindings) -> bool:
    word = value_at(plan, bound(when[0], stars))
    begins = when[1].format_map(_Names(plan)) if "{" in when[1] else when[1]
    return isinstance(word, str) and bool(begins) and word.startswith(begins)


class _Names(dict[str, str]):
    """Names of the materials as they stand in the shopping list; empty where unknown."""

    def __init__(self, plan: Plan) -> None:
        super().__init__()
        for row in plan.get("materials") or []:
            self[row["kind"]] = row["name"]
            for letter, part in zip("ab", row.get("parts") or (), strict=False):
                self[f"{row['kind']}_{letter}"] = f"{row['name']}: {part}"

    def __missing__(self, name: str) -> str:
        return ""


def _what(plan: Plan, path: str, entry: Entry, stars: Bindings) -> str:
    name = value_at(plan, bound(entry.of, stars)) if entry.of else ""
    end = ENDS.get(path.rpartition(".")[2], "")
    return ": ".join(filter(None, [entry.what, name, end]))


def _unit(plan: Plan, path: str, entry: Entry) -> str:
    path = _whole(path)
    if entry.unit:
        return entry.unit
    beside = value_at(plan, f"{path.rpartition('.')[0]}.unit")
    if path.startswith("assumed.") and not isinstance(beside, str):
        beside = value_at(plan, ".".join([*path.split(".")[:2], "unit"]))
    return beside if isinstance(beside, str) else unit_in(_last_name(path))


def _formula(plan: Plan, path: str, entry: Entry) -> str:
    if path.startswith("assumed."):
        return str(value_at(plan, ".".join([*path.split(".")[:2], "why"])) or entry.formula)
    for assumed in plan.get("assumed") or [] if entry.field else []:
        if assumed["field"] == entry.field:
            reason = f"nobody said {entry.field}; taken because: {assumed['why']}"
            return f"{entry.formula}; {reason}" if entry.inputs else reason
    return entry.formula


def input_paths(plan: Plan, path: str) -> list[str]:
    """The paths of the plan's own numbers that go straight into a number."""
    found = _entry_for(plan, path)
    if found is None:
        return []
    entry, stars = found
    asked = [i for i in entry.inputs if not i.startswith("count ")]
    return [p for i in asked for p in each(plan, bound(i, stars), _title(plan, entry, stars))]


def _inputs(plan: Plan, path: str, entry: Entry, stars: Bindings) -> list[dict[str, Any]]:
    found = []
    for asked in entry.inputs:
        counted = asked.removeprefix("count ")
        for place in each(plan, bound(counted, stars), _title(plan, entry, stars)):
            if counted != asked:
                what = f"how many {words_in(_last_name(place))}"
                value = len(value_at(plan, place))
                found.append({"what": what, "value": value, "unit": "", "path": None})
            else:
                found.append(_input(plan, place))
    return found


def _title(plan: Plan, entry: Entry, stars: Bindings) -> str:
    """What stands after the colon in the title of the step, where a step is asked about."""
    if not stars or entry.when is None or not entry.when[0].startswith("steps."):
        return ""
    return str(value_at(plan, f"steps.{stars[0]}.title")).partition(": ")[2]


def _input(plan: Plan, path: str) -> dict[str, Any]:
    found, value = _entry_for(plan, path), value_at(plan, path)
    what = _what(plan, path, *found) if found else words_in(_last_name(path))
    unit = _unit(plan, path, found[0]) if found else unit_in(_last_name(path))
    return {"what": what, "value": _middle(value), "unit": unit, "path": path if found else None}


def _carried(plan: Plan, entry: Entry, stars: Bindings) -> dict[str, Any] | None:
    answer = value_at(plan, bound(entry.kept, stars)) if entry.kept else None
    return answer if isinstance(answer, dict) else None


def _kept_inputs(answer: dict[str, Any]) -> list[dict[str, Any]]:
    return [
        {"what": words_in(name), "value": value, "unit": unit_in(name), "path": None}
        for name, value in (answer.get("inputs") or {}).items()
    ]


def _kept_rows(answer: dict[str, Any]) -> list[dict[str, Any]]:
    rows = []
    for row in answer.get("rows") or []:
        material, _, figure = row["row"].partition(": ")
        rows.append({**row, "row": material, "figure": figure})
    return rows


def rows_under(plan: Plan, path: str) -> list[dict[str, Any]]:
    """The figures of material rows that go straight into a number."""
    found = _entry_for(plan, path)
    if found is None:
        return []
    answer = _carried(plan, *found)
    return _kept_rows(answer) if answer else _rows(plan, *found)


def _rows(plan: Plan, entry: Entry, stars: Bindings) -> list[dict[str, Any]]:
    rows = []
    named = _named_rows(plan, entry, stars)
    for asked in entry.rows:
        role, _, figure = asked.rstrip("?").partition(".")
        row = _material(plan, role)
        if row is None or figure not in row["figures"]:
            continue
        if not asked.endswith("?") or f"{row['id']}: {figure}" in named:
            told = {"row": row["id"], "name": row["name"], "figure": figure}
            rows.append(told | row["figures"][figure])
    return rows


def _named_rows(plan: Plan, entry: Entry, stars: Bindings) -> set[str]:
    if not entry.rows_in:
        return set()
    places = each(plan, bound(entry.rows_in, stars), _title(plan, entry, stars))
    answers = [value_at(plan, place) for place in places]
    return {row["row"] for answer in answers for row in answer.get("rows") or []}


def _material(plan: Plan, role: str) -> dict[str, Any] | None:
    """The plan's row of that kind, or with that id."""
    rows = plan.get("materials") or []
    return next((row for row in rows if role in (row["kind"], row["id"])), None)


def _unknown(plan: Plan, path: str, value: Any) -> UnknownNumber:
    where = f'"{path}"'
    for reason, keys in WITHOUT_ANSWER.items():
        if _is_number(value) and set(path.split(".")).intersection(keys):
            return UnknownNumber(
                where=where,
                found="has no formula",
                limit=f"it is one of the {reason}",
                remedy="Ask about a number; without a path all are listed.",
            )
    return UnknownNumber(
        where=where,
        found="is no number of this plan",
        limit="paths look like parts.0.cast.pull_mass_g",
        remedy="Without a path all are listed.",
    )
