"""How large is a head? The middle of women and of men, from a published survey."""

from __future__ import annotations

import csv
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Any, Literal

Group = Literal["women", "men"]

WHAT = {
    "length": "head length, from between the brows to the back",
    "breadth": "head breadth, above the ears",
    "circumference": "head circumference, over the brows",
    "face_height": "face height, from the root of the nose to under the chin",
    "tragion_to_top": "height of the crown over the ears",
    "cheek_breadth": "face breadth, across the cheekbones",
    "pupil_distance": "distance between the pupils",
    "neck_circumference": "neck circumference",
}
"""The measures in a maker's words."""


@dataclass(frozen=True)
class HeadMeasure:
    """One measure of a head.

    Args:
        value_mm: its value.
        source: where it is from.
        mark: how far to trust it, as for a material's figure.
    """

    value_mm: float
    source: str
    mark: str


@dataclass(frozen=True)
class HeadMeasures:
    """What a plain head is made from; see ``WHAT`` for what each is.

    >>> middle = head_measures()
    >>> middle.length.value_mm, middle.breadth.value_mm
    (195.0, 150.5)
    """

    length: HeadMeasure
    breadth: HeadMeasure
    circumference: HeadMeasure
    face_height: HeadMeasure
    tragion_to_top: HeadMeasure
    cheek_breadth: HeadMeasure
    pupil_distance: HeadMeasure
    neck_circumference: HeadMeasure

    def as_json(self) -> list[dict[str, Any]]:
        """Plain data: name, what, value_mm, source and mark of each, in order."""
        told = []
        for field in fields(self):
            measure: HeadMeasure = getattr(self, field.name)
            told.append(
                {
                    "name": field.name,
                    "what": WHAT[field.name],
                    "value_mm": measure.value_mm,
                    "source": measure.source,
                    "mark": measure.mark,
                }
            )
        return told


def head_measures(group: Group | None = None) -> HeadMeasures:
    """The measures that half of a group stay below; of both, the middle between the two.

    Args:
        group: "women" or "men"; None takes the mean of both.

    Source: the published US Army survey ANSUR II 2012, 1986 women and 4082 men in service. It
    is no sample of everyone who wears a mask.
    """
    return HeadMeasures(**{name: _measure(name, group) for name in WHAT})


def _measure(name: str, group: Group | None) -> HeadMeasure:
    rows = [row for row in _survey() if row["measure"] == name and group in (None, row["group"])]
    value = sum(float(row["p50_mm"]) for row in rows) / len(rows)
    (survey,), (mark,) = {row["source"] for row in rows}, {row["mark"] for row in rows}
    of = " and ".join(f"{row['people']} {row['group']}" for row in rows)
    middle = "median of" if group else "mean of the medians of"
    return HeadMeasure(value, f"{survey}, {rows[0]['survey_name']}: {middle} {of}", mark)


@cache
def _survey() -> tuple[dict[str, str], ...]:
    text = files(__package__).joinpath("head_survey.csv").read_text("utf-8")
    return tuple(csv.DictReader(text.splitlines()))
