"""Page one and what stands behind it: the job at a glance, assumptions, findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from firstpull.packet.format import (
    NOT_GIVEN,
    cubic_cm,
    grams,
    label,
    middle,
    mm,
    plain,
    scale_figure,
    size,
    span,
    spread,
    square_cm,
    unit_of,
    with_unit,
    words,
)

Data = dict[str, Any]


def readout(name: str, value: str, unit: str = "", note: str = "") -> Data:
    """One large figure with its label, unit and a line below."""
    return {"label": name, "value": value, "unit": unit, "note": note}


def summary(plan: Mapping[str, Any], part: Mapping[str, Any]) -> Data:
    """The figures that answer a maker's first questions about one part."""
    moulds = part.get("moulds") or []
    readouts = [_size(part), _mesh(part), _shell(moulds), _removal(moulds)]
    readouts += [_silicone(moulds), _resin(part), _pull(part), _castings(plan, part)]
    return {"readouts": readouts, "warnings": [str(w) for w in plan.get("warnings") or []]}


def _size(part: Mapping[str, Any]) -> Data:
    sizes = part.get("sizes") or {}
    designed = sizes.get("cast") or sizes.get("printed") or sizes.get("designed")
    whole = size(_sides(designed))
    value, _, unit = whole.rpartition(" ")
    return readout("size, as cast", value or NOT_GIVEN, unit if value else "", "")


def _sides(entry: Any) -> Sequence[float] | None:
    """Three side lengths from a plan, which may wrap them in an object."""
    if isinstance(entry, Mapping):
        entry = entry.get("size_mm") or entry.get("extents_mm")
    return entry if isinstance(entry, list | tuple) and len(entry) == 3 else None


def _mesh(part: Mapping[str, Any]) -> Data:
    master = part.get("master") or {}
    findings = master.get("findings") or []
    if any(f.get("blocks") for f in findings) and not master.get("closed", True):
        word = "not yet sound"
    elif changed(master.get("mended")):
        word = "mended"
    else:
        word = "sound"
    count = f"{len(findings)} finding{'' if len(findings) == 1 else 's'}"
    triangles = master.get("triangles")
    note = count + (f" · {plain(triangles)} triangles" if triangles else "")
    return readout("mesh", word, "", note)


def _shell(moulds: Sequence[Mapping[str, Any]]) -> Data:
    pieces = [p for m in moulds for p in (m.get("shell") or {}).get("pieces") or []]
    masses = [middle(p.get("mass_g")) for p in pieces]
    known = [m for m in masses if m is not None]
    kind = next((str(m["shell"]["kind"]) for m in moulds if (m.get("shell") or {}).get("kind")), "")
    note = " · ".join(x for x in (kind, grams(sum(known)) if known else "") if x)
    return readout("shell pieces", plain(len(pieces)), "", note)


def _removal(moulds: Sequence[Mapping[str, Any]]) -> Data:
    proofs = [m["proof"] for m in moulds if m.get("proof")]
    if not proofs:
        return readout("removal", "not proved", "", "")
    passed = all(p.get("passed") for p in proofs)
    checks = [c for p in proofs for c in p.get("checks") or []]
    held = sum(bool(c.get("passed")) for c in checks)
    note = f"{held} of {len(checks)} checks hold" if checks else ""
    return readout("removal", "proved" if passed else "fails", "", note)


def _silicone(moulds: Sequence[Mapping[str, Any]]) -> Data:
    poured = [c.get("mass_g") for m in moulds for c in m.get("coats") or []]
    known = [middle(p) for p in poured if middle(p) is not None]
    masses = [(m.get("skin") or {}).get("mass_g") for m in moulds]
    skins = [middle(m) for m in masses if middle(m) is not None]
    spreads = [m for m in masses if isinstance(m, Mapping)]
    note = f"{spread(spreads[0])} g in 8 of 10" if len(spreads) == 1 else ""
    if not skins:
        return readout("silicone", scale_figure(sum(known)) if known else NOT_GIVEN, "g", note)
    return readout("silicone in the skin, likely", scale_figure(sum(skins)), "g", note)


def _resin(part: Mapping[str, Any]) -> Data:
    coats = (part.get("cast") or {}).get("coats") or []
    if not coats:
        return readout("mix per casting", NOT_GIVEN)
    total = sum(float(c.get(k) or 0) for c in coats for k in ("a_g", "b_g", "powder_g"))
    waste = sum(float(c.get("waste_g") or 0) for c in coats)
    trimmed = (part.get("cast") or {}).get("trimmed_g")
    said = [f"{grams(trimmed)} trimmed off"] if trimmed else []
    said += [f"{grams(waste)} waste besides"] if waste else []
    return readout("mix per casting", scale_figure(total), "g", " · ".join(said))


def _pull(part: Mapping[str, Any]) -> Data:
    estimate = (part.get("cast") or {}).get("pull_mass_g")
    note = f"{spread(estimate)} g in 8 of 10" if isinstance(estimate, Mapping) else ""
    return readout("weight of the pull", scale_figure(middle(estimate)), "g", note)


def _castings(plan: Mapping[str, Any], part: Mapping[str, Any]) -> Data:
    castings = (part.get("cast") or {}).get("castings")
    good = (plan.get("job") or {}).get("good_castings")
    if isinstance(castings, Mapping):
        good = castings.get("good", good)
        castings = castings.get("total") or castings.get("make")
    note = f"for {plain(good)} good" if good is not None else ""
    return readout("castings to make", plain(castings), "", note)


def assumptions(plan: Mapping[str, Any]) -> list[Data]:
    """Everything that nobody said and the program took: field, value, why."""
    rows = []
    for entry in plan.get("assumed") or []:
        field = str(entry.get("field", ""))
        value = entry.get("value")
        unit = "" if isinstance(value, str) else entry.get("unit") or unit_of(field)
        rows.append(
            {
                "field": label(field).replace(".", " › "),
                "value": with_unit(words(value), unit),
                "why": str(entry.get("why") or ""),
            }
        )
    return rows


def findings(master: Mapping[str, Any]) -> list[Data]:
    """What the checker found, numbered as the pins in the picture are."""
    rows = []
    for number, found in enumerate(master.get("findings") or [], start=1):
        blocks = found.get("blocks") or []
        mended = bool(found.get("mended"))
        rows.append(
            {
                "number": str(number),
                "kind": str(found.get("kind", "")),
                "count": plain(found.get("count")),
                "size": mm(found["size_mm"]) if found.get("size_mm") is not None else "",
                "sentence": str(found.get("sentence", "")),
                "next_step": str(found.get("next_step", "")),
                "mended": mended,
                "blocks": ""
                if mended or not blocks
                else f"stands in the way of: {', '.join(blocks)}",
            }
        )
    return rows


def changed(mended: Any) -> list[Data]:
    """What mending changed; entries that count nothing are left out."""
    if not mended:
        return []
    if isinstance(mended, Mapping):
        items = [(label(k), with_unit(words(v), unit_of(k))) for k, v in mended.items() if v]
    else:
        items = [(words(entry), "") for entry in mended]
    return [{"what": what, "value": value} for what, value in items]


def measures(part: Mapping[str, Any]) -> list[Data]:
    """The part in figures: sizes along the chain, volume, area."""
    sizes = part.get("sizes") or {}
    master = part.get("master") or {}
    rows = [
        (f"as {step}", size(_sides(sizes.get(step)))) for step in ("designed", "printed", "cast")
    ]
    rows += [
        ("volume of the master", cubic_cm(master.get("volume_cm3"))),
        ("surface of the master", square_cm(master.get("area_cm2"))),
    ]
    return [{"what": what, "value": value} for what, value in rows if value != NOT_GIVEN]


def steps(plan: Mapping[str, Any]) -> list[Data]:
    """The order of work, with least and most time."""
    return [
        {
            "number": str(number),
            "title": str(step.get("title", "")),
            "text": str(step.get("text") or ""),
            "time": span(step.get("minutes_least"), step.get("minutes_most")),
            "cautions": " · ".join(str(c) for c in step.get("cautions") or []),
        }
        for number, step in enumerate(plan.get("steps") or [], start=1)
    ]


def schedule(plan: Mapping[str, Any]) -> str:
    """How long it takes, in one line; empty where the plan does not say.

    >>> schedule({"schedule": {"mould_min": [3638, 8971], "casting_min": [114, 221],
    ...                        "castings": 9, "castings_a_day": 2, "edition_days": 5}})
    'The mould takes 2.5 – 6 days, a casting 1 h 55 – 4 h; 9 castings at 2 a day take 5 days.'
    """
    given = plan.get("schedule")
    if not given:
        return ""
    days = given["edition_days"]
    return (
        f"The mould takes {span(*given['mould_min'])}, a casting {span(*given['casting_min'])}; "
        f"{given['castings']} casting{'' if given['castings'] == 1 else 's'} at "
        f"{given['castings_a_day']} a day take {days} day{'' if days == 1 else 's'}."
    )


def shopping(plan: Mapping[str, Any]) -> list[Data]:
    """What to buy: what ends in the work, what is lost, and the sum to buy."""
    rows = []
    for entry in plan.get("shopping") or []:
        unit = str(entry.get("unit") or "")
        rows.append(
            {
                "item": str(entry.get("item", "")),
                "for": words(entry.get("for")) if entry.get("for") else "",
                "net": _amount(entry.get("net"), unit),
                "waste": _amount(entry.get("waste"), unit),
                "buy": _amount(entry.get("buy"), unit),
            }
        )
    return rows


ONE_OF = {"pairs": "pair", "pcs": "pc", "pieces": "piece"}


def _amount(value: Any, unit: str) -> str:
    if not value:
        return NOT_GIVEN
    if value == 1:
        unit = ONE_OF.get(unit, unit)
    if unit in ("g", "ml") and isinstance(value, int | float):
        return with_unit(scale_figure(value), unit)
    return with_unit(words(value), unit)


RULES_FIRST = {
    "title": "Local rules and each product's own safety data sheet come first.",
    "text": "What stands here are the usual cautions for the kinds of material in this plan; "
    "they replace neither, nor the advice of a licensed practice. A finished prop is not "
    "protective equipment.",
}


def cautions(plan: Mapping[str, Any]) -> Data:
    """What can hurt and the usual care; that rules come first stands above the others."""
    rows = [
        {
            "id": str(entry.get("id", "")),
            "title": str(entry.get("title", "")),
            "text": str(entry.get("text", "")),
            "applies_to": words(entry.get("applies_to")) if entry.get("applies_to") else "",
        }
        for entry in plan.get("cautions") or []
    ]
    first = next((row for row in rows if row["id"] == "rules-first"), RULES_FIRST)
    return {"first": first, "others": [row for row in rows if row is not first]}
