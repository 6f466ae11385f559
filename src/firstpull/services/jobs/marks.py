"""A stage of the work is done: when, what was measured, and how that compares with the plan."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, get_args

from firstpull.core.errors import WorkshopError
from firstpull.core.job.kinds import Done, Job, StageName
from firstpull.core.job.refusals import NoSuchThing
from firstpull.services.jobs.desk import Desk

AHEAD = datetime.timedelta(days=1)  # it may be tomorrow already where the maker is
LONGEST_NOTE = 2000
MOST = 1e6


class BadMark(WorkshopError):
    """What is said about a stage that is done cannot be."""

    code = "bad_mark"


@dataclass(frozen=True)
class Measure:
    """Something that can be measured once a stage is done.

    Args:
        name: with its unit, as it is kept.
        what: for people.
        unit: "" for counts.
    """

    name: str
    what: str
    unit: str


MEASURES: dict[StageName, tuple[Measure, ...]] = {
    "master": (
        Measure("width_mm", "width, along x of the mesh file", "mm"),
        Measure("depth_mm", "depth, along y of the mesh file", "mm"),
        Measure("height_mm", "height, along z of the mesh file", "mm"),
    ),
    "mould": (
        Measure("silicone_g", "silicone used", "g"),
        Measure("thickness_mm", "thickness found, where a needle went in", "mm"),
    ),
    "cast": (
        Measure("mass_g", "mass of a trimmed casting", "g"),
        Measure("castings", "castings made", ""),
    ),
}


def stages() -> list[dict[str, Any]]:
    """The stages in the order of the work, with what can be measured at the end of each."""
    return [
        {
            "stage": stage,
            "measured": [{"name": m.name, "what": m.what, "unit": m.unit} for m in measures],
        }
        for stage, measures in MEASURES.items()
    ]


def mark_done(desk: Desk, job_id: str, done: Done, *, now: datetime.datetime) -> Job:
    """Mark a stage as done; an earlier mark of it is replaced.

    Raises:
        NoSuchThing: no such job or stage.
        BadMark: a day in the future, a measure that the stage does not have, or a figure that
            cannot be.
    """
    _check(done, now)
    return desk.mark_done(job_id, done, now=now)


def unmark_done(desk: Desk, job_id: str, stage: str, *, now: datetime.datetime) -> Job:
    """Take the mark away.

    Raises:
        NoSuchThing: no such job or stage.
    """
    return desk.unmark_done(job_id, known_stage(stage), now=now)


def known_stage(stage: str) -> StageName:
    """The stage of that name.

    Raises:
        NoSuchThing: there is none.
    """
    for known in get_args(StageName):
        if stage == known:
            return known
    raise NoSuchThing(
        where=f'A stage "{stage}"',
        found="is not there",
        limit="there are " + ", ".join(get_args(StageName)),
        remedy="Name one of these.",
    )


def planned_measures(summary: Mapping[str, Any] | None) -> dict[str, tuple[float, float]]:
    """Low and high of each measure as planned, by its name; without a plan there are none."""
    parts = (summary or {}).get("parts") or [{}]
    part = parts[0]
    sides = zip(("width_mm", "depth_mm", "height_mm"), part.get("printed_mm") or (), strict=False)
    exact = dict(sides) | {
        "silicone_g": part.get("silicone_g"),
        "thickness_mm": part.get("skin_mm"),
        "castings": part.get("castings"),
    }
    found = {name: (float(v), float(v)) for name, v in exact.items() if v is not None}
    if mass := part.get("pull_mass_g"):
        found["mass_g"] = (float(mass["p10"]), float(mass["p90"]))
    return found


def compared(
    stage: StageName, measured: Mapping[str, float], planned: Mapping[str, tuple[float, float]]
) -> list[str]:
    """What was measured against what was planned, a few words each.

    >>> compared("cast", {"mass_g": 212.0, "castings": 7}, {"mass_g": (205.3, 230.9)})
    ['212 g measured, 205 to 231 g planned', '7 castings made']
    >>> compared("cast", {"castings": 1}, {})
    ['1 casting made']
    """
    found = []
    for measure in MEASURES[stage]:
        if measure.name not in measured:
            continue
        value = _figure(measured[measure.name], measure)
        span = planned.get(measure.name)
        made = "casting made" if measured[measure.name] == 1 else "castings made"
        what = made if measure.name == "castings" else "measured"
        words = f"{value} {what}"
        found.append(f"{words}, {_span(span, measure)} planned" if span else words)
    return found


def _span(span: tuple[float, float], measure: Measure) -> str:
    low, high = (_figure(v, measure) for v in span)
    if low == high:
        return low
    return f"{low.removesuffix(measure.unit).strip()} to {high}"


def _figure(value: float, measure: Measure) -> str:
    digits = 1 if measure.unit == "mm" else 0
    return f"{round(value, digits):g} {measure.unit}".strip()


def _check(done: Done, now: datetime.datetime) -> None:
    known = {m.name: m for m in MEASURES[known_stage(done.stage)]}
    where = f"The mark of the {done.stage}"
    if done.done_on > (now + AHEAD).date():
        raise BadMark(
            where=where,
            found=f"is for {done.done_on.isoformat()}",
            limit="that day has not come yet",
            remedy="Give the day it was done.",
        )
    if len(done.note) > LONGEST_NOTE:
        raise BadMark(
            where=where,
            found=f"has a note of {len(done.note)} letters",
            limit=f"it may have {LONGEST_NOTE}",
            remedy="Shorten it.",
        )
    for name, value in done.measured.items():
        if name not in known:
            raise BadMark(
                where=where,
                found=f'has a measure "{name}" that this stage does not know',
                limit="it knows " + ", ".join(known),
                remedy="Give one of these.",
            )
        _check_value(where, known[name], value)


def _check_value(where: str, measure: Measure, value: float) -> None:
    whole = not measure.unit
    fits = math.isfinite(value) and (0 <= value <= MOST if whole else 0 < value <= MOST)
    if fits and not (whole and value != int(value)):
        return
    least = "a whole number from 0" if whole else "above 0"
    raise BadMark(
        where=f"{where}, {measure.what},",
        found=f"is {value:g}",
        limit=f"it must be {least}, up to {MOST:,.0f}",
        remedy="Correct it, or leave it out.",
    )
