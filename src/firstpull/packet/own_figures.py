"""This shop's own figures on the pages: listed where assumptions stand, marked where used."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from firstpull.packet.format import NOT_GIVEN, with_unit

Data = dict[str, Any]

MARK = "†"

READOUTS = {
    "size, as cast": "sizes.cast",
    "silicone in the skin, likely": "moulds.0.skin.mass_g",
    "weight of the pull": "cast.pull_mass_g",
    "castings to make": "cast.castings",
}
"""Which of a part's numbers a readout shows, by its label."""

MIX_READOUT = "mix per casting"
MASS_FACT = "silicone by weight, likely"
POURS = {"A": "a_g", "B": "b_g", "powder": "powder_g"}
CHART = {
    "silicone": "silicone_g",
    "shell": "shell_g",
    "time": "shell_min",
    "cost": "silicone_cost",
}


def own_rows(plan: Mapping[str, Any]) -> list[Data]:
    """Each own figure that some number rests on: which, what the row says, what holds, the note."""
    rows = []
    for own in plan.get("own_figures") or []:
        if own.get("numbers"):
            was, now = own.get("was") or {}, own["now"]
            figure = str(own["figure"]).replace("_", " ")
            rows.append(
                {
                    "what": f"{own.get('name') or own['material']} › {figure}",
                    "was": _span(was, own) if was else NOT_GIVEN,
                    "now": _span(now, own),
                    "note": str(own["note"]),
                }
            )
    return rows


def _span(figure: Mapping[str, Any], own: Mapping[str, Any]) -> str:
    """
    >>> _span({"low": 25, "typical": 30, "high": 38}, {"unit": "min"})
    '30 min (25 – 38)'
    """
    typical = with_unit(f"{figure['typical']:g}", str(own.get("unit") or ""))
    return f"{typical} ({figure['low']:g} – {figure['high']:g})"


def mark_own(data: Data, plan: Mapping[str, Any]) -> None:
    """Puts a dagger to every figure of the pages that rests on an own figure.

    Args:
        data: of all pages, as made from the plan; changed in place.
        plan: as in docs/plan.md; its own figures name the numbers that rest on them.
    """
    resting = Resting.of(plan)
    if not resting.places:
        return
    for number, part in enumerate(data["parts"]):
        _mark_part(part, resting, f"parts.{number}.")
    for number, step in enumerate(data["steps"]):
        at = f"steps.{number}."
        resting.mark(step, "title", f"{at}amounts", f"{at}cups")
        resting.mark(step, "time", f"{at}minutes_least", f"{at}minutes_most")
    resting.mark(data, "schedule", "schedule")
    for number, item in enumerate(data["shopping"]):
        for key in ("net", "waste", "buy"):
            resting.mark(item, key, f"shopping.{number}.{key}")


class Resting:
    """Places of a plan under which some number rests on an own figure."""

    def __init__(self, paths: Iterable[str]) -> None:
        self.places: set[str] = set()
        for path in paths:
            steps = path.split(".")
            self.places |= {".".join(steps[:n]) for n in range(1, len(steps) + 1)}

    @classmethod
    def of(cls, plan: Mapping[str, Any]) -> Resting:
        """Of a plan's own figures."""
        return cls(path for own in plan.get("own_figures") or [] for path in own["numbers"])

    def mark(self, row: Data, key: str, *places: str) -> None:
        """A dagger behind words or a figure where one of the places rests on an own figure."""
        shown = row.get(key)
        if shown and shown != NOT_GIVEN and self.places.intersection(places):
            row[key] = f"{shown} {MARK}"


def _mark_part(part: Data, resting: Resting, at: str) -> None:
    for readout in part["summary"]["readouts"]:
        if readout["label"] in READOUTS:
            resting.mark(readout, "label", at + READOUTS[readout["label"]])
        elif readout["label"] == MIX_READOUT and part["cast"]:
            coats = range(len(part["cast"]["coats"]))
            mix = [f"{at}cast.coats.{n}.{key}" for n in coats for key in POURS.values()]
            resting.mark(readout, "label", *mix)
    for measure in part["measures"]:
        if measure["what"] == "as cast":
            resting.mark(measure, "value", f"{at}sizes.cast")
    for number, mould in enumerate(part["moulds"]):
        _mark_mould(mould, resting, f"{at}moulds.{number}.")
    if part["cast"]:
        _mark_coats(part["cast"]["coats"], resting, f"{at}cast.")
        resting.mark(part["cast"], "expected", f"{at}cast.pull_mass_g")


def _mark_mould(mould: Data, resting: Resting, at: str) -> None:
    for fact in (*mould["facts"], *mould["card"]):
        if fact["what"] == MASS_FACT and MARK not in fact["value"]:
            resting.mark(fact, "value", f"{at}skin.mass_g")
    for number, piece in enumerate(mould["pieces"]):
        resting.mark(piece, "mass", f"{at}shell.pieces.{number}.mass_g")
    for number, choice in enumerate((mould["choice"] or {}).get("columns") or []):
        for shown, key in CHART.items():
            resting.mark(choice, shown, f"{at}options.{number}.{key}")
    _mark_coats(mould["coats"], resting, at)


def _mark_coats(coats: list[Data], resting: Resting, at: str) -> None:
    for number, coat in enumerate(coats):
        here = f"{at}coats.{number}."
        cup = f"{here}batches.0."
        for shown in (pour for cup_row in coat["cups"] for pour in cup_row["pours"]):
            key = POURS.get(shown["name"])
            place = f"{cup}{key}" if key else f"{here}thickener_g"
            resting.mark(shown, "name", place)  # a dagger among large digits would be misread
        resting.mark(coat, "pot_life", f"{cup}pot_life_min")
        resting.mark(coat, "recoat", f"{here}next_coat_min")
        resting.mark(coat, "demould", f"{here}demould_min")
