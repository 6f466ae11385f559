"""What a person reads at the end of a mesh command."""

from __future__ import annotations

from typing import Any

from rich.console import Console

PLACES_SHOWN = 3


def show_check(check: dict[str, Any], console: Console) -> None:
    """What was read, what is wrong and where, what a plan would mend, and the verdict."""
    until = "" if check["blocks"] else " until mended"
    lines = [
        *arrived(check),
        *findings(check["findings"], until=until),
        *openings(check["openings"]),
        *_mending(check),
    ]
    say(lines, console)


def show_mended(report: dict[str, Any], console: Console) -> None:
    """What was wrong, what was done, how far the surface moved, what is left, where it lies."""
    lines = [*arrived(report)]
    if report["findings"]:
        lines += ["What was wrong:", *brief(report["findings"])]
    lines += openings(report["openings"])
    if report["changed"]:
        lines.append(f"What was done: {changes(report['changed'])}.")
        lines += [*report["notes"], *(report["surface"] or {}).get("sentences", ())]
    else:
        lines += ["Nothing was changed; it is written as it came.", *report["notes"]]
    left = report["findings_left"]
    if left:
        lines += ["What is left:", *findings(left, until="")]
    lines.append(f"Now: {measured(report['measures_after'])}, free of self-crossing.")
    say([*lines, wrote(report)], console)


def show_compared(report: dict[str, Any], console: Console) -> None:
    """The answer in a sentence, the patches that differ, and how they were laid."""
    lines = [report["laid"], report["sentence"], *report["units"]]
    for patch in report["differences"]:
        lines.append(f"{patch['number']:>3}. {patch['sentence']}")
    if report["more"]:
        lines.append(f"     and {report['more']} smaller places.")
    lines += report["bounds"]
    say([*lines, *([wrote(report)] if report["written"] else [])], console)


def show_places(report: dict[str, Any], kind: str, console: Console) -> None:
    """What was measured, and the numbered places, the largest first."""
    lines = [*read(report), *report.get("notes", ()), *report["sentences"]]
    lines += [f"{place['number']:>3}. {place['sentence']}" for place in report[kind]]
    if report["more"]:
        lines.append(f"     and {report['more']} more.")
    say([*lines, *([wrote(report)] if report["written"] else [])], console)


def show_changed(report: dict[str, Any], console: Console) -> None:
    """What came in, what was done, what went out."""
    now = f"Now: {report['measures_after']['triangles']:,} triangles, "
    now += f"{measured(report['measures_after'])}."
    say([*arrived(report), *report["notes"], now, wrote(report)], console)


def show_lines(report: dict[str, Any], console: Console) -> None:
    """What was drawn in which plane, and where the drawing lies."""
    say([*read(report), *report["sentences"], wrote(report)], console)


def brief(found: list[dict[str, Any]]) -> list[str]:
    """Each finding in one sentence under its number."""
    return [f"{finding['number']:>3}. {finding['sentence']}" for finding in found]


def wrote(report: dict[str, Any]) -> str:
    """Where the results lie."""
    return f"Written: {', '.join(report['written'])}."


def say(lines: list[str], console: Console) -> None:
    """Lines as they are, nothing coloured in or broken."""
    for line in lines:
        console.print(line, markup=False, highlight=False, soft_wrap=True)


def arrived(report: dict[str, Any]) -> list[str]:
    """What was read and how it was taken."""
    file = report["file"]
    return [
        f"{file['name']}: {file['format'].upper()}, {file['triangles']:,} triangles, "
        f"{measured(report['measures'])}.",
        report["unit"]["why"],
        *file["notes"],
        *(f"Mind: {warning}" for warning in report.get("warnings", ())),
    ]


def read(report: dict[str, Any]) -> list[str]:
    """What was read, shorter: for commands that do not ask what is wrong."""
    file = report["file"]
    what = f"{file['name']}: {file['format'].upper()}, {file['triangles']:,} triangles."
    return [what, report["unit"]["why"], *file["notes"]]


def measured(measures: dict[str, Any]) -> str:
    """Size, surface and volume in one line."""
    size = " x ".join(f"{side:.1f}" for side in measures["extents_mm"])
    volume = measures["volume_cm3"]
    solid = "open" if volume is None else f"closed, {volume:,.1f} cm3"
    return f"{size} mm, {measures['area_cm2']:,.0f} cm2, {solid}"


def findings(found: list[dict[str, Any]], *, until: str) -> list[str]:
    """Each finding in a sentence under its number, where it is, and what to do about it."""
    lines = []
    for finding in found:
        mark = "note"
        if finding["blocks"]:
            mark = f"stops {' and '.join(finding['blocks'])}{until}"
        lines.append(f"{finding['number']:>3}. {finding['sentence']} ({mark})")
        if finding["places_mm"]:
            lines.append(f"     At {places(finding['places_mm'])}.")
        lines.append(f"     {finding['next_step']}")
    return lines


def openings(groups: list[dict[str, Any]]) -> list[str]:
    """Open borders in groups, with the numbers to name them by."""
    if not groups:
        return []
    lines = ["Openings, by number:"]
    for group in groups:
        numbers = listed(group["numbers"])
        decided = _decided(group)
        # what a person decided stands in place of what the program would have done
        sentence = group["sentence"]
        if decided:
            sentence = f"{sentence.partition(':')[0]}: {decided}."
        lines.append(f"  [{numbers}] {sentence}")
        if group["asked"]:
            lines.append(f"     Say --close {numbers} when mending, or leave it.")
    return lines


def _decided(group: dict[str, Any]) -> str:
    """What was done with a group's openings because somebody asked for it."""
    closed, kept = group["closed_as_asked"], group["kept_as_asked"]
    parts = []
    if closed:
        parts.append(
            "closed as you asked"
            if closed == group["numbers"]
            else f"closed as you asked: {listed(closed)}"
        )
    if kept:
        parts.append(
            "kept open as you asked"
            if kept == group["numbers"]
            else f"kept open as you asked: {listed(kept)}"
        )
    return "; ".join(parts)


def listed(numbers: list[int]) -> str:
    """Numbers with commas between, as an option takes them.

    >>> listed([1, 3])
    '1,3'
    """
    return ",".join(str(number) for number in numbers)


def _mending(check: dict[str, Any]) -> list[str]:
    """What a plan would do about it, and whether that is enough."""
    mending = check["mending"]
    if mending["refused"]:
        return [f"A plan would refuse it: {mending['refused']['sentence']}"]
    if check["blocks"]:
        return ["Mending is not enough:", *(f"- {sentence}" for sentence in check["blocks"])]
    if not mending["changed"] and not check["findings"]:
        return ["Sound: nothing to mend."]
    if not mending["changed"]:
        return ["A plan takes it as it is."]
    surface = mending["surface"]["sentences"] if mending["surface"] else []
    return [*mending["notes"], f"A plan mends it: {changes(mending['changed'])}.", *surface]


def changes(changed: dict[str, float]) -> str:
    """What was changed, in one line."""
    return ", ".join(_change(name, amount) for name, amount in changed.items())


def _change(name: str, amount: float) -> str:
    """One change, its unit behind the figure.

    >>> _change("wall_given_mm", 3.0), _change("holes_closed", 2)
    ('wall given: 3 mm', 'holes closed: 2')
    """
    words, _, unit = name.rpartition("_")
    if unit == "mm":
        return f"{words.replace('_', ' ')}: {amount:g} mm"
    return f"{name.replace('_', ' ')}: {amount:g}"


def places(spots: list[list[float]]) -> str:
    """The first places, and how many more there are."""
    shown = spots[:PLACES_SHOWN]
    text = "; ".join("(" + ", ".join(f"{c:.1f}" for c in place) + ")" for place in shown)
    more = len(spots) - len(shown)
    return f"{text} mm" + (f" and {more} more" if more else "")
