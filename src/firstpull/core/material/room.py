"""Whether the room suits what is mixed in it: warmth and damp."""

from __future__ import annotations

from firstpull.core.material.batch import time_at
from firstpull.core.material.row import MaterialRow
from firstpull.core.mesh.findings import Finding

COLDEST_C = 18.0
WARMEST_C = 27.0
"""Common practice: below 18 C cures drag or fail, at 27 C resin sets in a wave."""


def room_findings(
    row: MaterialRow, *, temperature_c: float, humidity_pct: float
) -> tuple[Finding, ...]:
    """What to mend about the room before this material is mixed; empty where it suits.

    >>> from firstpull.core.material.row import find_material
    >>> resin = find_material("urethane-medium", "resin")
    >>> [f.kind for f in room_findings(resin, temperature_c=16, humidity_pct=70)]
    ['room too cold', 'room too damp']
    """
    found = []
    pot = time_at(row, "pot_life", temperature_c)
    if temperature_c < COLDEST_C:
        found.append(
            Finding(
                "room too cold",
                1,
                f"At {temperature_c:g} °C the {row.name} may cure slowly or not at all; "
                f"it is not worked below {COLDEST_C:g} °C.",
                "Warm room, mould and tins before mixing.",
            )
        )
    if temperature_c > WARMEST_C:
        found.append(
            Finding(
                "room too warm",
                1,
                f"At {temperature_c:g} °C the {row.name} leaves about {pot:.0f} minutes "
                "and may set all at once.",
                "Cool the tins and mix smaller batches, or wait for a cooler hour.",
            )
        )
    limit = row.figures.get("humidity_limit")
    if limit is not None and humidity_pct > limit.typical:
        found.append(
            Finding(
                "room too damp",
                1,
                f"At {humidity_pct:g} % humidity the {row.name} may foam and stick to the mould; "
                f"the limit is about {limit.typical:g} %.",
                "Dry the air, keep tins closed, use plastic cups and dry powder, or wait.",
            )
        )
    return tuple(found)
