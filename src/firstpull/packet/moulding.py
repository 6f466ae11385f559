"""The mould and the cups, in words and figures ready for a page."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from firstpull.packet.choice_page import choice_page
from firstpull.packet.format import (
    NOT_GIVEN,
    cubic_cm,
    degrees,
    duration,
    fine_mm,
    grams,
    middle,
    millilitres,
    mm,
    percent,
    plain,
    scale_figure,
    span,
    spread,
    square_cm,
    with_unit,
)
from firstpull.packet.loose_and_parts import loose_rows, shell_parts
from firstpull.packet.proof import proof_page
from firstpull.packet.summary import Data


def mould_page(mould: Mapping[str, Any]) -> Data:
    """One mould: facts, shell pieces, choice chart, proof, stretch."""
    shell = mould.get("shell") or {}
    return {
        "name": str(mould.get("name", "mould")),
        "facts": _facts(mould),
        "pieces": [piece_row(n, p) for n, p in enumerate(shell.get("pieces") or [], start=1)],
        "any_order": shell.get("removal") == "any order",
        "parts": shell_parts(shell),
        "loose": loose_rows(shell),
        "stays_deep": [str(s["sentence"]) for s in shell.get("stays_deep") or []],
        "choice": choice_page(mould),
        "proof": proof_page(mould.get("proof")),
        "stretch": _stretch(mould.get("skin") or {}),
        "card": _card_facts(mould),
        "coats": [coat_row(n, c) for n, c in enumerate(mould.get("coats") or [], start=1)],
    }


def _facts(mould: Mapping[str, Any]) -> list[Data]:
    skin, shell = mould.get("skin") or {}, mould.get("shell") or {}
    mass = skin.get("mass_g")
    around = f" ({spread(mass)} g)" if isinstance(mass, Mapping) else ""
    rows = [
        ("show surface", square_cm(mould.get("show_area_cm2"))),
        ("skin", mm(skin.get("thickness_mm"))),
        ("silicone, all told", cubic_cm(skin.get("volume_cm3"))),
        ("of it, fill of undercuts", cubic_cm(skin.get("fill_cm3"))),
        ("silicone by weight, likely", grams(middle(mass)) + around),
        ("clay or filler", cubic_cm(mould.get("clay_cm3"))),
        ("body: master and clay", cubic_cm((mould.get("body") or {}).get("volume_cm3"))),
        ("shell", str(shell.get("kind") or NOT_GIVEN)),
        ("shell wall", mm(shell.get("thickness_mm"))),
        ("draft", degrees(shell.get("draft_deg"))),
    ]
    return [{"what": w, "value": v} for w, v in rows if not v.startswith(NOT_GIVEN)]


CARD_FACTS = ("skin", "silicone by weight, likely", "shell", "shell wall")


def _card_facts(mould: Mapping[str, Any]) -> list[Data]:
    """What is still asked of a mould on the shelf."""
    return [fact for fact in _facts(mould) if fact["what"] in CARD_FACTS]


def piece_row(number: int, piece: Mapping[str, Any]) -> Data:
    """One shell piece in the order it comes off."""
    bolts = piece.get("bolts") or []
    return {
        "number": str(number),
        "pull": pull_in_words(piece.get("pull")),
        "way": way_in_words(piece.get("pull")),
        "volume": cubic_cm(piece.get("volume_cm3")),
        "mass": grams(middle(piece.get("mass_g"))),
        "bolts": plain(len(bolts)) if bolts else NOT_GIVEN,
    }


def pull_in_words(pull: Sequence[float] | None) -> str:
    """A pull direction as one would show it with a hand over the board, then by the axes.

    >>> pull_in_words([0, 0, 1])
    'straight up'
    >>> pull_in_words([0.94, 0, 0.342])
    'up and toward the right, 20° above the board (+x)'
    """
    way = way_in_words(pull)
    if not pull or way == STRAIGHT_UP:
        return way
    return f"{way} ({_side_in_words(float(pull[0]), float(pull[1]))})"


STRAIGHT_UP = "straight up"

SIDES_SEEN = (
    "the right",
    "the back and right",
    "the back",
    "the back and left",
    "the left",
    "the front and left",
    "the front",
    "the front and right",
)
"""As in the pictures, in eighths of a turn from +x over +y; the front is the -y side."""


def way_in_words(pull: Sequence[float] | None) -> str:
    """A pull as seen in the pictures.

    >>> way_in_words([0.04, -0.44, 0.9])
    'up and toward the front, 64° above the board'
    """
    if not pull:
        return NOT_GIVEN
    x, y, z = (float(c) for c in pull)
    rise = math.degrees(math.atan2(z, math.hypot(x, y)))
    if rise > 87:
        return STRAIGHT_UP
    side = SIDES_SEEN[round(math.degrees(math.atan2(y, x)) / 45) % 8]
    if abs(rise) < 0.5:
        return f"toward {side}, along the board"
    return f"up and toward {side}, {rise:.0f}° above the board"


def _side_in_words(x: float, y: float) -> str:
    turn = math.degrees(math.atan2(y, x)) % 90
    if min(turn, 90 - turn) < 1:
        axis, value = ("x", x) if abs(x) > abs(y) else ("y", y)
        return f"{'+' if value > 0 else '−'}{axis}"
    name_x, name_y = ("+x" if x > 0 else "−x"), ("+y" if y > 0 else "−y")
    first, second = (name_x, name_y) if abs(x) >= abs(y) else (name_y, name_x)
    lean = math.degrees(math.atan2(min(abs(x), abs(y)), max(abs(x), abs(y))))
    return f"{first} turned {lean:.0f}° to {second}"


def _stretch(skin: Mapping[str, Any]) -> Data | None:
    """Longest length over own length, 1 at rest, shown as the strain above 1."""
    stretch = skin.get("stretch")
    if not stretch or stretch.get("ratio") is None:
        return None
    strain = max(float(stretch["ratio"]) - 1, 0.0)
    limit = None if stretch.get("limit") is None else float(stretch["limit"]) - 1
    top = max(strain, limit or 0.0, 1e-9) * 1.15
    return {
        "ratio": percent(strain),
        "limit": percent(limit),
        "share": round(strain / top, 3),
        "limit_share": None if limit is None else round(limit / top, 3),
        "within": limit is None or strain <= limit,
        "sentence": str(stretch.get("sentence") or ""),
        "aside": _pockets_aside(skin.get("pockets")),
    }


def _pockets_aside(pockets: Sequence[Any] | None) -> str:
    """What this figure does not judge."""
    if pockets is None:
        return "Deep pockets behind a narrow mouth are not judged here: look at the section."
    if not pockets:
        return "Pockets behind a narrow mouth were looked for apart: none was found."
    count = f"{len(pockets)} pocket{'' if len(pockets) == 1 else 's'}"
    return f"Not judged here: {count} behind a narrow mouth, told among the cautions."


def coat_row(number: int, coat: Mapping[str, Any]) -> Data:
    """One coat: what goes into each cup in large digits, and how long it lives."""
    batches = list(coat.get("batches") or [coat])
    alike = all(_key(b) == _key(batches[0]) for b in batches)
    thickener_g = float(coat.get("thickener_g") or 0) / len(batches)
    kinds = [(batches[0], len(batches))] if alike else [(b, 1) for b in batches]
    cups = [_cup(b, count, thickener_g) for b, count in kinds]
    pot = coat.get("pot_life_min", batches[0].get("pot_life_min"))
    return {
        "number": str(number),
        "name": str(coat.get("name", f"coat {number}")),
        "facts": _coat_facts(coat),
        "cups": cups,
        "cup_count": len(batches),
        "pot_life": duration(pot),
        "recoat": _recoat(coat.get("recoat_min") or coat.get("next_coat_min")),
        "demould": duration(coat["demould_min"]) if coat.get("demould_min") else "",
        "basis": str(coat.get("basis") or ""),
        "note": str(coat.get("note") or ""),
        "total": _total(coat),
    }


def _coat_facts(coat: Mapping[str, Any]) -> str:
    facts = []
    if coat.get("thickness_mm") is not None:
        facts.append(fine_mm(coat["thickness_mm"]))
    if coat.get("area_cm2") is not None:
        facts.append(square_cm(coat["area_cm2"]))
    return " on ".join(facts)


def _total(coat: Mapping[str, Any]) -> str:
    mass = middle(coat.get("mass_g"))
    if mass is None and coat.get("a_g") is not None:
        mass = sum(float(coat.get(k) or 0) for k in ("a_g", "b_g", "powder_g"))
    said = [f"{grams(mass)} in the work"] if mass is not None else []
    if coat.get("waste_g") is not None:
        said.append(f"{grams(coat['waste_g'])} waste")
    return ", ".join(said)


def _recoat(window: Sequence[float | None] | None) -> str:
    return span(window[0], window[1]) if window else NOT_GIVEN


def _key(batch: Mapping[str, Any]) -> tuple[Any, ...]:
    return tuple(batch.get(k) for k in ("a_g", "b_g", "powder_g"))


def _cup(batch: Mapping[str, Any], count: int, thickener_g: float) -> Data:
    pours = [
        _pour("A", batch.get("a_g"), batch.get("a_ml")),
        _pour("B", batch.get("b_g"), batch.get("b_ml")),
    ]
    if batch.get("powder_g"):
        pours.append(_pour("powder", batch["powder_g"], batch.get("powder_ml")))
    if thickener_g:
        pours.append(_pour("thickener", thickener_g, None))
    return {"count": count, "pours": pours}


def _pour(name: str, mass_g: float | None, volume_ml: float | None) -> Data:
    return {
        "name": name,
        "mass": scale_figure(mass_g),
        "volume": millilitres(volume_ml) if volume_ml is not None else "",
    }


def cast_page(cast: Mapping[str, Any] | None) -> Data | None:
    """The casting, coat by coat."""
    if not cast:
        return None
    return {
        "coats": [coat_row(n, c) for n, c in enumerate(cast.get("coats") or [], start=1)],
        "note": str(cast.get("note") or ""),
        "card": [row for c in cast.get("coats") or [] for row in _card_rows(c)],
        "expected": _expected(cast.get("pull_mass_g")),
    }


def _card_rows(coat: Mapping[str, Any]) -> list[Data]:
    """What goes into each cup, one line for cups that are alike."""
    row = coat_row(0, coat)
    rows = []
    for cup in row["cups"]:
        mass = {pour["name"]: with_unit(pour["mass"], "g") for pour in cup["pours"]}
        figures = {name: mass.get(name, NOT_GIVEN) for name in ("A", "B", "powder")}
        rows.append({"name": row["name"], "count": str(cup["count"]), **figures})
    return rows


def _expected(mass: Mapping[str, float] | float | None) -> str:
    if mass is None:
        return ""
    around = f"{spread(mass)} g, likely " if isinstance(mass, Mapping) else ""
    return around + grams(middle(mass))
