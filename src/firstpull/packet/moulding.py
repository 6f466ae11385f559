"""The mould and the cups, in words and figures ready for a page."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from firstpull.packet.format import (
    NOT_GIVEN,
    cubic_cm,
    degrees,
    duration,
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
    words,
)
from firstpull.packet.summary import Data

ROUTINE = {"solid": "Closed and in one piece", "apart": "Share no space"}
"""Kinds of checks that are told in one line while they hold."""


def mould_page(mould: Mapping[str, Any]) -> Data:
    """One mould: facts, shell pieces, options, proof, stretch."""
    shell = mould.get("shell") or {}
    return {
        "name": str(mould.get("name", "mould")),
        "facts": _facts(mould),
        "pieces": [piece_row(n, p) for n, p in enumerate(shell.get("pieces") or [], start=1)],
        "options": _options(mould.get("options") or []),
        "proof": _proof(mould.get("proof")),
        "stretch": _stretch((mould.get("skin") or {}).get("stretch")),
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
        ("silicone by weight", grams(middle(mass)) + around),
        ("clay or filler", cubic_cm(mould.get("clay_cm3"))),
        ("body: master and clay", cubic_cm((mould.get("body") or {}).get("volume_cm3"))),
        ("shell", str(shell.get("kind") or NOT_GIVEN)),
        ("shell wall", mm(shell.get("thickness_mm"))),
        ("draft", degrees(shell.get("draft_deg"))),
    ]
    return [{"what": w, "value": v} for w, v in rows if not v.startswith(NOT_GIVEN)]


def piece_row(number: int, piece: Mapping[str, Any]) -> Data:
    """One shell piece in the order it comes off."""
    bolts = piece.get("bolts") or []
    return {
        "number": str(number),
        "pull": pull_in_words(piece.get("pull")),
        "volume": cubic_cm(piece.get("volume_cm3")),
        "mass": grams(middle(piece.get("mass_g"))),
        "bolts": plain(len(bolts)) if bolts else NOT_GIVEN,
    }


def pull_in_words(pull: Sequence[float] | None) -> str:
    """A pull direction as one would show it with a hand over the board.

    >>> pull_in_words([0, 0, 1])
    'straight up'
    >>> pull_in_words([0.94, 0, 0.342])
    'toward +x, 20° above the board'
    """
    if not pull:
        return NOT_GIVEN
    x, y, z = (float(c) for c in pull)
    flat = math.hypot(x, y)
    rise = math.degrees(math.atan2(z, flat))
    if rise > 87:
        return "straight up"
    side = _side_in_words(x, y)
    height = "along the board" if abs(rise) < 0.5 else f"{rise:.0f}° above the board"
    return f"toward {side}, {height}"


def _side_in_words(x: float, y: float) -> str:
    turn = math.degrees(math.atan2(y, x)) % 90
    if min(turn, 90 - turn) < 1:
        axis, value = ("x", x) if abs(x) > abs(y) else ("y", y)
        return f"{'+' if value > 0 else '−'}{axis}"
    name_x, name_y = ("+x" if x > 0 else "−x"), ("+y" if y > 0 else "−y")
    first, second = (name_x, name_y) if abs(x) >= abs(y) else (name_y, name_x)
    lean = math.degrees(math.atan2(min(abs(x), abs(y)), max(abs(x), abs(y))))
    return f"{first} turned {lean:.0f}° to {second}"


def _options(options: Sequence[Mapping[str, Any]]) -> list[Data]:
    most = max((float(o.get("fill_cm3") or 0) for o in options), default=0.0)
    return [
        {
            "pieces": plain(o.get("pieces")),
            "fill": cubic_cm(o.get("fill_cm3")),
            "share": round(float(o.get("fill_cm3") or 0) / most, 3) if most else 0.0,
            "silicone": grams(middle(o.get("silicone_g"))),
            "shell": grams(middle(o.get("shell_g"))),
            "recommended": bool(o.get("recommended")),
        }
        for o in options
    ]


def _proof(proof: Mapping[str, Any] | None) -> Data | None:
    if not proof:
        return None
    checks = proof.get("checks") or []
    routine = [c for c in checks if c.get("passed") and _kind(c) in ROUTINE]
    told = [c for c in checks if c not in routine]
    return {
        "passed": bool(proof.get("passed")),
        "checks": [
            _routine_row(kind, same)
            for kind in ROUTINE
            if (same := [c for c in routine if _kind(c) == kind])
        ]
        + [
            {
                "name": str(c.get("name", "")),
                "passed": bool(c.get("passed")),
                "found": words(c.get("found")),
                "limit": words(c.get("limit")),
                "sentence": str(c.get("sentence") or ""),
            }
            for c in told
        ],
    }


def _kind(check: Mapping[str, Any]) -> str:
    """What a check is about, without the piece it is about."""
    return str(check.get("name", "")).partition(":")[0]


def _routine_row(kind: str, checks: Sequence[Mapping[str, Any]]) -> Data:
    """Checks that hold and are of one kind, in one line."""
    what = [str(c["name"]).partition(": ")[2] for c in checks]
    return {
        "name": kind,
        "passed": True,
        "found": str(len(checks)),
        "limit": str(len(checks)),
        "sentence": f"{ROUTINE[kind]}: {'; '.join(what)}." if what else "",
    }


def _stretch(stretch: Mapping[str, Any] | None) -> Data | None:
    """Longest length over own length, 1 at rest, shown as the strain above 1."""
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
    }


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
        facts.append(mm(coat["thickness_mm"]))
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
    }
