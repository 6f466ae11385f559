"""What does each count of shell pieces cost in grams, hours and money, and why?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.estimate import Estimate
from firstpull.core.material.row import MaterialRow
from firstpull.core.material.why import RowUsed, Why
from firstpull.core.mould.options import DEEPEST_FILL_MM, Option
from firstpull.core.mould.zone import PartingWall

WALL_DIGITS = 4  # of a millimetre: a locked wall must give the same mould again
PRINTER_CM3_H = 12.0
"""Common practice for a nozzle of 0.4 mm; the slicer knows better."""


@dataclass(frozen=True)
class Choice:
    """One point of the choice chart, as a maker weighs it.

    Args:
        option: its geometry.
        silicone_g: in the skin, fill included; by the drawing, nothing lost.
        fill_g: of it, what only fills.
        shell_g: all pieces together, solid.
        shell_min: to print them, or to lay them one after the other, waits included.
        silicone_cost: of ``silicone_g``, in the money of the price; None without a price.
        whys: for each of these by name, where it comes from.
    """

    option: Option
    silicone_g: Estimate
    fill_g: Estimate
    shell_g: Estimate
    shell_min: Estimate
    silicone_cost: Estimate | None
    whys: tuple[tuple[str, Why], ...]

    def as_json(self) -> dict[str, Any]:
        """Plain data; single numbers are the middle of their spread."""
        option, cost = self.option, self.silicone_cost
        return {
            "pieces": option.pieces,
            "fill_cm3": round(option.fill_cm3, 1),
            "fill_g": round(self.fill_g.p50, 0),
            "silicone_g": round(self.silicone_g.p50, 0),
            "silicone_cost": None if cost is None else round(cost.p50, 2),
            "shell_g": round(self.shell_g.p50, 0),
            "shell_min": round(self.shell_min.p50, 0),
            "deepest_fill_mm": round(option.deepest_fill_mm, 1),
            "strips_badly": option.deepest_fill_mm > DEEPEST_FILL_MM,
            "locks": [lock.as_json() for lock in option.locks],
            "pulls": [_rounded(pull, 6) for pull in np.array(option.pulls)],
            "walls": [wall_as_json(wall) for wall in option.walls],
            "outlines": [
                [[list(corner) for corner in outline] for outline in piece]
                for piece in option.outlines
            ],
            "whys": {name: why.as_json() for name, why in self.whys},
        }


def choice_of(
    option: Option,
    *,
    silicone: MaterialRow,
    shell: MaterialRow,
    kind: Literal["laid", "printed"],
    printer_cm3_h: float = PRINTER_CM3_H,
    price_per_kg: float | None = None,
) -> Choice:
    """Grams, minutes and money of an option.

    Args:
        option: on the chart.
        silicone, shell: rows of the materials.
        kind: how the shell is made.
        printer_cm3_h: plastic that the printer lays in an hour; for a printed shell.
        price_per_kg: of the silicone, mixed; None where nobody gave one.
    """
    density, shell_density = silicone.estimate("density"), shell.estimate("density")
    silicone_g = density * option.skin_cm3
    shell_min, time_why = _time(option, shell, kind, printer_cm3_h)
    whys = [
        ("silicone_g", _mass_why("skin, fill included", option.skin_cm3, silicone)),
        ("fill_g", _mass_why("fill", option.fill_cm3, silicone)),
        ("shell_g", _mass_why("shell, flanges included, solid", option.shell_cm3, shell)),
        ("shell_min", time_why),
    ]
    cost = None
    if price_per_kg is not None:
        cost = silicone_g * (price_per_kg / 1000)
        whys.append(("silicone_cost", _cost_why(silicone_g, price_per_kg)))
    return Choice(
        option=option,
        silicone_g=silicone_g,
        fill_g=density * option.fill_cm3,
        shell_g=shell_density * option.shell_cm3,
        shell_min=shell_min,
        silicone_cost=cost,
        whys=tuple(whys),
    )


def _time(
    option: Option, shell: MaterialRow, kind: Literal["laid", "printed"], printer_cm3_h: float
) -> tuple[Estimate, Why]:
    """Minutes until all pieces are there, and why."""
    if kind == "printed":
        why = Why(
            "volume of the shell / what the printer lays in an hour; no supports, no failed prints",
            (
                ("shell, cm3", round(option.shell_cm3, 1)),
                ("printer, cm3/h", printer_cm3_h),
                ("the printer's figure", "shop.printer_cm3_h of the job sheet"),
            ),
        )
        return Estimate.exact(60 * option.shell_cm3 / printer_cm3_h), why
    why = Why(
        "pieces x time until the next piece may be laid against it",
        (("pieces", option.pieces),),
        (RowUsed(shell, "piece_wait"),),
    )
    return shell.estimate("piece_wait") * option.pieces, why


def _mass_why(what: str, volume_cm3: float, row: MaterialRow) -> Why:
    inputs = ((f"{what}, cm3", round(volume_cm3, 1)),)
    return Why("volume by the drawing x density", inputs, (RowUsed(row, "density"),))


def _cost_why(silicone_g: Estimate, price_per_kg: float) -> Why:
    inputs = (("silicone, g", round(silicone_g.p50, 0)), ("price per kg", price_per_kg))
    return Why("mass of the skin x price; what stays in cups is not in it", inputs)


def wall_as_json(wall: PartingWall) -> dict[str, Any]:
    """A parting wall by points and a direction, mould frame; ``wall_from_json`` reads it back.

    >>> wall_as_json(PartingWall((1.0, 0.0, 0.0), 5.0, ((-20.0, 0.0), (30.0, 2.5))))["bend"]
    [[5.0, -20.0, 0.0], [7.5, 30.0, 0.0]]
    """
    normal = np.array(wall.normal)
    found: dict[str, Any] = {
        "through": _rounded(normal * wall.offset_mm, WALL_DIGITS),
        "facing": _rounded(normal, 6),
    }
    if wall.bend:
        found["bend"] = [
            _rounded(u * wall.across + (wall.offset_mm + out) * normal, WALL_DIGITS)
            for u, out in wall.bend
        ]
    return found


def wall_from_json(told: Mapping[str, Any]) -> PartingWall:
    """The wall that ``wall_as_json`` told.

    >>> wall = PartingWall((0.6, 0.8, 0.0), 5.0, ((-20.0, 0.0), (30.0, 2.5)))
    >>> back = wall_from_json(wall_as_json(wall))
    >>> back.normal, round(back.offset_mm, 4), [[round(x, 3) for x in knot] for knot in back.bend]
    ((0.6, 0.8, 0.0), 5.0, [[-20.0, 0.0], [30.0, 2.5]])
    """
    facing = np.array(told["facing"], dtype=np.float64)
    facing /= np.linalg.norm(facing)
    x, y, z = (float(c) for c in facing)
    plane = PartingWall((x, y, z), float(facing @ np.array(told["through"])))
    points = np.array(told.get("bend") or (), dtype=np.float64).reshape(-1, 3)
    bend = [(float(p @ plane.across), float(p @ facing) - plane.offset_mm) for p in points]
    return PartingWall(plane.normal, plane.offset_mm, tuple(bend))


def _rounded(values: Floats, digits: int) -> list[float]:
    return [round(float(v), digits) + 0.0 for v in values]
