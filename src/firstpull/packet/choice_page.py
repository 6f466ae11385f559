"""How many shell pieces? The choices side by side, each with its picture, grams and hours."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain
from string import ascii_uppercase
from typing import Any

from firstpull.packet.choice_picture import Window, picture
from firstpull.packet.format import NOT_GIVEN, cubic_cm, duration, grams, middle, mm, plain

Data = dict[str, Any]

SIDES = (
    "right",
    "back, right",
    "back",
    "back, left",
    "left",
    "front, left",
    "front",
    "front, right",
)
"""In eighths of a turn from +x over +y; the front is the -y side."""

TRACES_CM3 = 0.1
LEAST_DEPTH_MM = 1.0  # less is a coat
MIDDLE = 0.12  # of the window's width: nearer to its middle no side is named


def choice_page(mould: Mapping[str, Any]) -> Data | None:
    """The choice chart of one mould; None where the plan has none.

    Args:
        mould: of the plan; of its options only pieces, fill and masses are needed.
    """
    options = mould.get("options") or []
    if not options:
        return None
    relief = mould.get("relief") or []
    letters = iter(ascii_uppercase * 2)
    most = max(chain([1e-9], *(_masses(option) for option in options)))
    window = _window(options, relief)
    columns = [_column(option, relief, letters, most, window) for option in options]
    chosen = next((o for o in options if o.get("recommended")), None)
    laid = (mould.get("shell") or {}).get("kind") == "laid"
    return {
        "columns": columns,
        "reason": str(chosen.get("why") or "") if chosen else "",
        "time_label": "to lay, waits included" if laid else "to print",
        "has_time": any(c["time"] != NOT_GIVEN for c in columns),
        "has_cost": any(c["cost"] != NOT_GIVEN for c in columns),
        "has_locks": any(c["locks"] for c in columns),
        "has_pictures": any(c["svg"] for c in columns),
        "least": str((mould.get("least_pieces") or {}).get("sentence") or ""),
        "left_out": [str(line) for line in mould.get("options_left_out") or []],
    }


def _masses(option: Mapping[str, Any]) -> tuple[float, float]:
    """Silicone and shell in grams; 0 where the plan has no figure."""
    silicone, shell = (middle(option.get(key)) or 0.0 for key in ("silicone_g", "shell_g"))
    return float(silicone), float(shell)


def _window(
    options: Sequence[Mapping[str, Any]], relief: Sequence[Mapping[str, Any]]
) -> Window | None:
    pieces = chain.from_iterable(option.get("outlines") or [] for option in options)
    body = (level.get("outlines") or [] for level in relief)
    return Window.around(chain.from_iterable(chain(pieces, body)))


def _column(
    option: Mapping[str, Any],
    relief: Sequence[Mapping[str, Any]],
    letters: Iterator[str],
    most_g: float,
    window: Window | None,
) -> Data:
    """One choice: words, figures and the lengths of its bars as shares of the longest."""
    silicone_g, shell_g = _masses(option)
    fill_g = min(float(option.get("fill_g") or 0.0), silicone_g)
    locks = option.get("locks") or []
    own = [next(letters) for _ in locks]
    pieces = option.get("pieces")
    deepest = float(option.get("deepest_fill_mm") or 0.0)
    return {
        "pieces": plain(pieces),
        "noun": "piece" if pieces == 1 else "pieces",
        "recommended": bool(option.get("recommended")),
        "silicone": grams(middle(option.get("silicone_g"))),
        "silicone_share": round((silicone_g - fill_g) / most_g, 4),
        "fill_share": round(fill_g / most_g, 4),
        "fill": cubic_cm(option.get("fill_cm3")),
        "fill_g": grams(option.get("fill_g")),
        "deepest": mm(deepest, 0) if deepest >= LEAST_DEPTH_MM else "",
        "strips_badly": bool(option.get("strips_badly")),
        "shell": grams(middle(option.get("shell_g"))),
        "shell_share": round(shell_g / most_g, 4),
        "time": duration(option.get("shell_min")),
        "cost": plain(option.get("silicone_cost"), 2),
        "locks": [_lock(lock, letter, window) for lock, letter in zip(locks, own, strict=True)],
        "no_locks": "nowhere" if float(option.get("fill_cm3") or 0.0) < TRACES_CM3 else "in traces",
        "svg": picture(option, relief, own, window) if window and option.get("outlines") else "",
    }


def _lock(lock: Mapping[str, Any], letter: str, window: Window | None) -> Data:
    return {
        "letter": letter,
        "where": lock_in_words(lock["place_mm"], window),
        "much": f"{cubic_cm(lock.get('volume_cm3'))}, {mm(lock.get('depth_mm'), 0)} deep",
    }


def lock_in_words(place_mm: Sequence[float], window: Window | None) -> str:
    """Where a lock is: its side in the picture and its height over the board.

    >>> lock_in_words((0.0, 60.0, 13.2), Window((-100.0, -80.0), (100.0, 80.0)))
    'back, 13 mm up'
    """
    x, y, z = (float(c) for c in place_mm)
    height = f"{mm(z, 0)} up"
    if window is None:
        return height
    x -= (window.low[0] + window.high[0]) / 2
    y -= (window.low[1] + window.high[1]) / 2
    if math.hypot(x, y) < MIDDLE * window.width:
        return f"middle, {height}"
    return f"{SIDES[round(math.degrees(math.atan2(y, x)) / 45) % 8]}, {height}"
