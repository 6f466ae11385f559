"""The proof of removal in words and units: what was found of each check, and its limit."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from firstpull.packet.format import NOT_GIVEN, degrees, mm, plain, with_unit, words

Data = dict[str, Any]


@dataclass(frozen=True)
class Wording:
    """How a kind of check is told.

    Args:
        what: the check; "{}" stands for the solids it is about.
        figure: found or limit as a person reads it.
        side: "at least" or "at most", before the limit.
        alike: that it holds, for several in one line; empty where each has its own line.
    """

    what: str
    figure: Callable[[float], str]
    side: str
    alike: str = ""


def _share(value: float) -> str:
    return with_unit(plain(100 * value, 1), "%")


def _rise(sine: float) -> str:
    """A pull is kept as the sine of its rise over the board."""
    return degrees(round(math.degrees(math.asin(min(max(sine, -1.0), 1.0))), 1))


def _deep(value: float) -> str:
    return mm(value, 2)


def _faults(value: float) -> str:
    return "no fault" if value == 0 else f"{plain(value)} fault{'' if value == 1 else 's'}"


WORDINGS = {
    "solid": Wording(
        "{} is closed and in one piece", _faults, "", "The solids are closed and in one piece"
    ),
    "apart": Wording("{} share no space", _deep, "at most", "The solids share no space"),
    "pull": Wording("the pull of {} rises from the board", _rise, "at least"),
    "release": Wording("{} comes off without touching: overlap", _deep, "at most"),
    "draft": Wording("{} comes free at once: share that does not", _share, "at most"),
    "support": Wording("{} backs the silicone: share that does", _share, "at least"),
    "gap": Wording("room for the skin between body and shell", _deep, "at least"),
    "show bare": Wording("show surface free of clay: share that is not", _share, "at most"),
    "show true": Wording("show surface true to the master: off by", lambda v: mm(v, 3), "at most"),
    "show covered": Wording("show surface under silicone: share that is not", _share, "at most"),
}


def proof_page(proof: Mapping[str, Any] | None) -> Data | None:
    """The checks as rows; those that hold and are alike share one."""
    if not proof:
        return None
    checks = proof.get("checks") or []
    alike: dict[str, list[Mapping[str, Any]]] = {}
    for check in checks:
        if check.get("passed") and _wording(check) and WORDINGS[_kind(check)].alike:
            alike.setdefault(_kind(check), []).append(check)
    shared = [check for same in alike.values() for check in same]
    rows = [_shared_row(kind, same) for kind, same in alike.items()]
    rows += [_row(check) for check in checks if check not in shared]
    return {"passed": bool(proof.get("passed")), "count": len(checks), "checks": rows}


def _kind(check: Mapping[str, Any]) -> str:
    """What a check is about, without the piece it is about."""
    return str(check.get("name", "")).partition(":")[0]


def _about(check: Mapping[str, Any]) -> str:
    return str(check.get("name", "")).partition(": ")[2]


def _wording(check: Mapping[str, Any]) -> Wording | None:
    return WORDINGS.get(_kind(check))


def _row(check: Mapping[str, Any]) -> Data:
    wording = _wording(check)
    if wording is None:
        name, found = str(check.get("name", "")), words(check.get("found"))
        limit = words(check.get("limit"))
    else:
        name = _capital(wording.what.format(_about(check)))
        found, limit = _figure(wording, check.get("found")), _figure(wording, check.get("limit"))
        limit = f"{wording.side} {limit}".strip()
    return {
        "name": name,
        "passed": bool(check.get("passed")),
        "found": found,
        "limit": limit,
        "sentence": str(check.get("sentence") or ""),
    }


def _figure(wording: Wording, value: Any) -> str:
    if not isinstance(value, int | float) or not math.isfinite(value):
        return NOT_GIVEN
    return wording.figure(float(value) + 0.0)


def _shared_row(kind: str, checks: Sequence[Mapping[str, Any]]) -> Data:
    what = [_about(c) for c in checks if _about(c)]
    return {
        "name": WORDINGS[kind].alike,
        "passed": True,
        "found": f"{len(checks)} of {len(checks)}",
        "limit": "all",
        "sentence": _capital("; ".join(what)) + "." if what else "",
    }


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
