"""Numbers as a workshop writes them: with a unit, and no more digits than can be used."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

NOT_GIVEN = "—"


def plain(value: float | None, digits: int = 0) -> str:
    """A number with thousands parted by commas, or a dash where there is none.

    >>> plain(1234.5), plain(0.25, 1), plain(None), plain(-0.04, 1)
    ('1,234', '0.2', '—', '0.0')
    """
    if value is None or not math.isfinite(value):
        return NOT_GIVEN
    return f"{round(float(value), digits) + 0.0:,.{digits}f}"


def scale_figure(value: float | None) -> str:
    """Grams or millilitres to set on a scale or read off a cup: a tenth below 100.

    >>> scale_figure(16.55), scale_figure(165.5), scale_figure(0.04), scale_figure(0)
    ('16.6', '166', '0.04', '0')
    """
    if value is None or not math.isfinite(value):
        return NOT_GIVEN
    if value == 0:
        return "0"
    small = abs(value)
    # Half a unit upward, as a person rounds; 16.55 is stored a hair below itself.
    digits = 2 if small < 0.1 else 1 if small < 99.95 else 0
    return plain(
        math.copysign(math.floor(small * 10**digits + 0.5 + 1e-9) / 10**digits, value), digits
    )


def grams(value: float | None) -> str:
    """A mass with its unit.

    >>> grams(16.55), grams(1234), grams(None)
    ('16.6 g', '1,234 g', '—')
    """
    return with_unit(scale_figure(value), "g")


def millilitres(value: float | None) -> str:
    """A volume of liquid or loose powder."""
    return with_unit(scale_figure(value), "ml")


def cubic_cm(value: float | None) -> str:
    """A volume of a solid.

    >>> cubic_cm(21.44), cubic_cm(812.3)
    ('21.4 cm³', '812 cm³')
    """
    return with_unit(_three_figures(value), "cm³")


def square_cm(value: float | None) -> str:
    """An area."""
    return with_unit(_three_figures(value), "cm²")


def mm(value: float | None, digits: int = 1) -> str:
    """A length.

    >>> mm(7.96), mm(212.4, 0)
    ('8.0 mm', '212 mm')
    """
    return with_unit(plain(value, digits), "mm")


def fine_mm(value: float | None) -> str:
    """The thickness of a coat: hundredths where it has any.

    >>> fine_mm(0.75), fine_mm(0.9), fine_mm(1.0)
    ('0.75 mm', '0.9 mm', '1.0 mm')
    """
    if value is None:
        return NOT_GIVEN
    return mm(value, 1 if abs(round(value, 2) - round(value, 1)) < 0.005 else 2)


def size(sides_mm: Sequence[float] | None) -> str:
    """Length, width and height of a box.

    >>> size([156.04, 124, 66.2])
    '156 × 124 × 66 mm'
    """
    if not sides_mm:
        return NOT_GIVEN
    return with_unit(" × ".join(plain(s) for s in sides_mm), "mm")


def degrees(value: float | None) -> str:
    """An angle.

    >>> degrees(3), degrees(2.5)
    ('3°', '2.5°')
    """
    if value is None:
        return NOT_GIVEN
    return f"{plain(value, 0 if float(value).is_integer() else 1)}°"


def percent(share: float | None) -> str:
    """A share of one as per cent.

    >>> percent(0.184), percent(1.34)
    ('18 %', '134 %')
    """
    return NOT_GIVEN if share is None else f"{plain(share * 100)} %"


def duration(minutes: float | None) -> str:
    """A time as one says it across a bench, no finer than one keeps it.

    >>> duration(3.5), duration(25), duration(43), duration(92), duration(554), duration(2940)
    ('3.5 min', '25 min', '45 min', '1 h 30', '9 h', '2 days')
    """
    if minutes is None or not math.isfinite(minutes):
        return NOT_GIVEN
    if minutes < 9.95:
        return with_unit(f"{round(float(minutes), 1):g}", "min")
    if minutes <= 30:
        return with_unit(str(_nearest(minutes)), "min")
    if minutes < 3 * 60:
        hours, rest = divmod(5 * _nearest(minutes / 5), 60)
        return (f"{hours} h" + (f" {rest:02d}" if rest else "")) if hours else f"{rest} min"
    if minutes < DAYS_FROM_MIN:
        return f"{_nearest(minutes / 60)} h"
    return _days(minutes)


DAYS_FROM_MIN = 36 * 60


def _days(minutes: float) -> str:
    days = _nearest(minutes / 720) / 2
    return f"{days:g} day{'' if days == 1 else 's'}"


def _nearest(value: float) -> int:
    """Half a unit upward, as a person rounds."""
    return math.floor(value + 0.5)


def span(least: float | None, most: float | None) -> str:
    """Least to most time, once where they agree, and in one unit where that can be.

    >>> span(60, 90), span(20, 20), span(None, 240), span(30, None)
    ('1 h – 1 h 30', '20 min', 'up to 4 h', 'from 30 min')
    >>> span(1108, 1662), span(1495, 2940), span(43, 554)
    ('18 – 28 h', '1 – 2 days', '45 min – 9 h')
    """
    if least is None and most is None:
        return NOT_GIVEN
    if least is None:
        return f"up to {duration(most)}"
    if most is None:
        return f"from {duration(least)}"
    both_in_days = most >= DAYS_FROM_MIN and least >= DAYS_FROM_MIN / 2
    low, high = (_days(least) if both_in_days else duration(least)), duration(most)
    if low == high:
        return low
    shown = [re.fullmatch(r"([\d.]+) (min|h|day)s?", text) for text in (low, high)]
    if shown[0] and shown[1] and shown[0][2] == shown[1][2]:
        low = shown[0][1]
    return f"{low} – {high}"


def spread(estimate: Mapping[str, float] | None) -> str:
    """The p10 to p90 of an estimate, without its middle.

    >>> spread({"p10": 241.3, "p50": 262, "p90": 284.6})
    '241 – 285'
    """
    if not estimate:
        return NOT_GIVEN
    return f"{scale_figure(estimate.get('p10'))} – {scale_figure(estimate.get('p90'))}"


def middle(estimate: Mapping[str, float] | float | None) -> float | None:
    """The p50 of an estimate; a bare number is its own middle."""
    if estimate is None or isinstance(estimate, int | float):
        return estimate
    return estimate.get("p50")


def words(value: Any) -> str:
    """Any value of a plan in words: booleans as yes and no, keys without underscores.

    >>> words(True), words("tin_cure"), words([1.0, 2.5]), words(None)
    ('yes', 'tin_cure', '1, 2.5', '—')
    """
    if value is None:
        return NOT_GIVEN
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{round(float(value), 2) + 0.0:,g}" if abs(value) < 1e5 else plain(value)
    if isinstance(value, list | tuple):
        return ", ".join(words(v) for v in value) or NOT_GIVEN
    if isinstance(value, Mapping):
        return ", ".join(f"{label(k)} {words(v)}" for k, v in value.items()) or NOT_GIVEN
    return str(value)


UNITS_IN_NAMES = {
    "mm": "mm",
    "cm2": "cm²",
    "mm2": "mm²",
    "cm3": "cm³",
    "mm3": "mm³",
    "g": "g",
    "ml": "ml",
    "min": "min",
    "h": "h",
    "deg": "°",
    "c": "°C",
    "pct": "%",
    "percent": "%",
}


def label(key: str) -> str:
    """A key as a label, its unit left off.

    >>> label("skin_thickness_mm"), label("holes_closed"), label("printer_cm3_h")
    ('skin thickness', 'holes closed', 'printer')
    """
    name, _, unit = str(key).rpartition("_")
    return label(name) if name and unit in UNITS_IN_NAMES else str(key).replace("_", " ")


def unit_of(key: str) -> str:
    """The unit that a key carries, or nothing.

    >>> unit_of("skin_thickness_mm"), unit_of("holes_closed")
    ('mm', '')
    """
    name, _, unit = str(key).rpartition("_")
    return UNITS_IN_NAMES.get(unit, "") if name else ""


def with_unit(figure: str, unit: str | None) -> str:
    """A figure and its unit.

    >>> with_unit("21", "°C"), with_unit("—", "g"), with_unit("40", "°")
    ('21 °C', '—', '40°')
    """
    if figure == NOT_GIVEN or not unit:
        return figure
    return f"{figure}{unit}" if unit == "°" else f"{figure} {unit}"


def kept_together(text: str) -> str:
    """The text with every figure tied to its unit, so that no line breaks between them."""
    return re.sub(
        r"(?<=\d) (?=(?:mm|cm|g|ml|min|h|days?|%|°C)(?![a-z]))", "\N{NO-BREAK SPACE}", text
    )


def shortened(text: str, most: int) -> str:
    """At most so many characters, cut with an ellipsis.

    >>> shortened("a very long name", 9)
    'a very l…'
    """
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def _three_figures(value: float | None) -> str:
    return plain(value, 1 if value is not None and abs(value) < 99.95 else 0)
