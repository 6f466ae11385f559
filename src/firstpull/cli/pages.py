"""What a person reads at the end of a command: the plan's summary, the mesh's findings."""

from __future__ import annotations

from typing import Any

from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

PLACES_SHOWN = 3


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


def show_check(check: dict[str, Any], console: Console) -> None:
    """What was read, what is wrong and where, what a plan would mend, and the verdict."""
    for line in (*_arrived(check), *_found(check), *_mending(check)):
        console.print(line, markup=False, highlight=False)


def _arrived(check: dict[str, Any]) -> list[str]:
    file, measures = check["file"], check["measures"]
    size = " x ".join(f"{side:.1f}" for side in measures["extents_mm"])
    volume = measures["volume_cm3"]
    solid = "open" if volume is None else f"closed, {volume:,.1f} cm3"
    return [
        f"{file['name']}: {file['format'].upper()}, {file['triangles']:,} triangles, "
        f"{size} mm, {measures['area_cm2']:,.0f} cm2, {solid}.",
        check["unit"]["why"],
        *file["notes"],
        *(f"Mind: {warning}" for warning in check["warnings"]),
    ]


def _found(check: dict[str, Any]) -> list[str]:
    """Each finding in a sentence, where it is, and what to do about it."""
    lines = []
    until = "" if check["blocks"] else " until mended"
    for finding in check["findings"]:
        stops = f"stops {' and '.join(finding['blocks'])}{until}"
        mark = stops if finding["blocks"] else "note"
        lines.append(f"- {finding['sentence']} ({mark})")
        if finding["places_mm"]:
            lines.append(f"  At {_places(finding['places_mm'])}.")
        lines.append(f"  {finding['next_step']}")
    return lines


def _mending(check: dict[str, Any]) -> list[str]:
    """What a plan would do about it, and whether that is enough."""
    mending = check["mending"]
    if mending["refused"]:
        return [f"A plan would refuse it: {mending['refused']['sentence']}"]
    if check["blocks"]:
        return ["Mending is not enough:", *(f"- {sentence}" for sentence in check["blocks"])]
    if not mending["changed"] and not check["findings"]:
        return ["Sound: nothing to mend."]
    changed = ", ".join(_change(name, n) for name, n in mending["changed"].items())
    return [
        *mending["notes"],
        f"A plan mends it: {changed}." if changed else "A plan takes it as it is.",
    ]


def _change(name: str, amount: float) -> str:
    """One change, its unit behind the figure.

    >>> _change("wall_given_mm", 3.0), _change("holes_closed", 2)
    ('wall given: 3 mm', 'holes closed: 2')
    """
    words, _, unit = name.rpartition("_")
    if unit == "mm":
        return f"{words.replace('_', ' ')}: {amount:g} mm"
    return f"{name.replace('_', ' ')}: {amount:g}"


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


def _places(places: list[list[float]]) -> str:
    shown = places[:PLACES_SHOWN]
    text = "; ".join("(" + ", ".join(f"{c:.1f}" for c in place) + ")" for place in shown)
    more = len(places) - len(shown)
    return f"{text} mm" + (f" and {more} more" if more else "")
