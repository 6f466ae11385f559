"""What a person reads at the end of a plan."""

from __future__ import annotations

from typing import Any

from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table


def show_plan(summary: dict[str, Any], console: Console) -> None:
    """What was made and where, one row for each figure and one column for each part."""
    names = [part["name"] for part in summary["parts"]]
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("")
    for name in names:
        table.add_column(escape(name), justify="right", overflow="fold")
    columns = [_figures(part) for part in summary["parts"]]
    for row in zip(*columns, strict=True):
        table.add_row(row[0][0], *(escape(value) for _, value in row))
    console.print(table)
    for part in summary["parts"]:
        worst = part["worst_warning"] or "none"
        console.print(f"Worst warning, {part['name']}: {worst}", markup=False, highlight=False)
    assumed = len(summary["assumed"])
    lines = [
        f"Assumed: {assumed} values, listed in plan.json and in the packet." if assumed else "",
        f"Written to {summary['out']}: {_listing(summary['files'])}.",
    ]
    for line in filter(None, lines):
        console.print(line, markup=False, highlight=False, soft_wrap=True)


def _figures(part: dict[str, Any]) -> list[tuple[str, str]]:
    """The rows of one part's column; every part has the same ones."""
    mass = part["pull_mass_g"]
    pieces = part["shell_pieces"]
    return [
        ("size as cast, mm", " x ".join(f"{side:.0f}" for side in part["size_mm"])),
        ("weight of the pull, g", f"{mass['p50']:.0f} ({mass['p10']:.0f} to {mass['p90']:.0f})"),
        ("castings to make", f"{part['castings']}"),
        ("silicone, g", f"{part['silicone_g']:,.0f}"),
        ("of which fill, cm3", f"{part['fill_cm3']:.0f}"),
        ("shell pieces", f"{pieces}"),
        ("removal", "proved" if part["removal_proved"] else "NOT PROVED"),
        ("shell, g", f"{part['shell_g']:,.0f}"),
        ("resin a casting, g", f"{part['resin_g']:,.0f}"),
    ]


def _listing(files: dict[str, int]) -> str:
    """The file names, pictures counted rather than named.

    >>> _listing({"plan.json": 9, "a/top.png": 9, "a/left.png": 9, "a/master.stl": 9})
    'plan.json, a/master.stl and 2 pictures'
    """
    named = [name for name in files if not name.endswith(".png")]
    named.sort(key=lambda name: (name.count("/"), name != "plan.json", name))
    pictures = len(files) - len(named)
    text = ", ".join(named)
    if not pictures:
        return text
    return f"{text} and {pictures} picture" + ("s" if pictures > 1 else "")
