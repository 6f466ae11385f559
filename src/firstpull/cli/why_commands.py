"""The command that explains: firstpull why."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from firstpull.cli.options import JsonOption
from firstpull.cli.outcome import print_json, told


def why(
    plan: Annotated[Path, typer.Argument(metavar="PLAN_DIR", help="Folder of a finished plan.")],
    path: Annotated[
        str | None,
        typer.Argument(
            metavar="[PATH]",
            help="Of a number, such as parts.0.cast.pull_mass_g; left out, all are listed.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Say why a number of a plan is what it is: formula, inputs, rows with source and mark."""
    from firstpull.services.why import numbers_of
    from firstpull.services.why import why as answer_for
    from firstpull.services.why_folder import plan_to_ask

    with told(as_json=as_json):
        asked = plan_to_ask(plan)
        if path is None:
            rooms = numbers_of(asked)
            if as_json:
                print_json(rooms)
            else:
                _print_lines(_listing(rooms))
            return
        answer = answer_for(asked, path)
        if as_json:
            print_json(answer)
        else:
            _print_lines(_told(answer))


def _print_lines(lines: list[str]) -> None:
    for line in lines:
        print(line)


def _listing(rooms: dict[str, list[dict[str, Any]]]) -> list[str]:
    lines = []
    for room, numbers in rooms.items():
        lines += [f"{room}:"] if numbers else []
        for number in numbers:
            value = _with_unit(number["value"], number["unit"])
            lines.append(f"  {number['path']}: {value}, {number['what']}")
    return lines


def _told(answer: dict[str, Any]) -> list[str]:
    """One answer, a line for each thing that it rests on."""
    lines = [f"{answer['what']}: {_with_unit(answer['value'], answer['unit'])}"]
    spread = answer["spread"]
    if spread:
        lines.append(f"  in 8 of 10 cases {spread['p10']:g} to {spread['p90']:g}")
    lines.append(f"  = {answer['formula']}")
    if answer["inputs"]:
        lines.append("From:")
    for entry in answer["inputs"]:
        place = f"  [{entry['path']}]" if entry["path"] else ""
        lines.append(f"  {entry['what']}: {_with_unit(entry['value'], entry['unit'])}{place}")
    if answer["rows"]:
        lines.append("Figures of materials:")
    for row in answer["rows"]:
        lines += _row_lines(row)
    return lines


def _row_lines(row: dict[str, Any]) -> list[str]:
    """
    >>> _row_lines({"name": "wax", "figure": "dry", "low": 10.0, "typical": 15.0, "high": 30.0,
    ...             "unit": "min", "mark": "own", "source": "timed", "note": ""})
    ['  wax, dry: 15 min (10 to 30), own: timed']
    """
    value = f"{row['typical']:g} {row['unit']} ({row['low']:g} to {row['high']:g})"
    source = f": {row['source']}" if row["source"] else ""
    figure = row["figure"].replace("_", " ")
    lines = [f"  {row['name']}, {figure}: {value}, {row['mark']}{source}"]
    return lines + ([f"    {row['note']}"] if row["note"] else [])


def _with_unit(value: Any, unit: str) -> str:
    shown = f"{value:,}" if isinstance(value, int | float) else str(value)
    return f"{shown} {unit}".strip()
