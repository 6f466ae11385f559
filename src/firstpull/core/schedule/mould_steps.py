"""The steps from a finished master to an open mould."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from firstpull.core.errors import WorkshopError
from firstpull.core.hazards.cautions import caution_ids_for
from firstpull.core.material.batch import sum_of, time_at
from firstpull.core.material.cure import time_factor
from firstpull.core.material.row import MaterialRow
from firstpull.core.mould.coats import SkinCoat
from firstpull.core.schedule.step import Amount, Step, mixed_amounts

PATCH_LEAST_MIN = 12 * 60.0
PATCH_MOST_MIN = 24 * 60.0
"""Common practice: a test patch stays overnight."""

RELEASE_COATS = 2
"""Common practice: two thin coats of release on the master, each dry."""


@dataclass(frozen=True)
class MouldWork:
    """What the mould is made of and how large, as plain values.

    Args:
        silicone, shell, clay, release: rows of the materials.
        coats: of silicone, in order.
        shell_kind: laid by hand or printed.
        shell_pieces: how many; they come off as numbered.
        shell_mm: wall of the shell.
        area_cm2: that is released and covered: show surface and bank.
        clay_cm3: of clay under and behind the master.
        temperature_c: of the shop.
    """

    silicone: MaterialRow
    shell: MaterialRow
    clay: MaterialRow
    release: MaterialRow
    coats: tuple[SkinCoat, ...]
    shell_kind: Literal["laid", "printed"]
    shell_pieces: int
    shell_mm: float
    area_cm2: float
    clay_cm3: float
    temperature_c: float

    def __post_init__(self) -> None:
        if self.shell_pieces < 1 or not self.coats:
            raise WorkshopError(
                where="The mould",
                found=f"has {self.shell_pieces} shell pieces and {len(self.coats)} coats",
                limit="it needs at least one of each",
                remedy="Plan skin and shell before the steps.",
            )

    @property
    def clay_g(self) -> float:
        """Clay in grams."""
        return self.clay_cm3 * self.clay.typical("density")

    @property
    def release_g(self) -> float:
        """Release for the master, all coats of it."""
        return RELEASE_COATS * self.area_cm2 / 100 * self.release.typical("use")


def mould_steps(work: MouldWork) -> tuple[Step, ...]:
    """From the test patch to the open mould, ready for its first resin."""
    return (
        *_master_steps(work),
        *_silicone_steps(work),
        *_shell_steps(work),
        *_opening_steps(work),
    )


def _master_steps(work: MouldWork) -> tuple[Step, ...]:
    clay = (Amount(work.clay.name, work.clay_g, "g"),) if work.clay_g > 0 else ()
    return (
        Step(
            "Prove the stack on a patch",
            "On scrap with the same plastic, filler, primer, seal and release, brush a dab of the "
            f"same {work.silicone.name}, in the same room. Next day lift it and look at the face "
            "that touched: tacky there means the stack stops the cure.",
            least_min=PATCH_LEAST_MIN,
            most_min=PATCH_MOST_MIN,
            caution_ids=_of([work.silicone], "tin-catalyst", "gloves-platinum"),
        ),
        Step(
            "Set the master on the board",
            "Bed it on clay, close openings from behind, smooth the bank from rim to board and "
            "scribe the trim line so that every pull shows it. No clay on any face that shows.",
            clay,
        ),
        Step(
            "Seal and release",
            f"Seal what is porous and let it dry. Then {RELEASE_COATS} thin coats of "
            f"{work.release.name} over master, clay and board, each dry before the next; no pools.",
            (Amount(work.release.name, work.release_g, "g"),),
            least_min=work.release["dry"].typical,
            most_min=work.release["dry"].high,
            caution_ids=_of([work.release], "solvent"),
        ),
    )


_COAT_WORDS = {
    "print": "Brush it thin and stipple into every corner, undercuts first; blow on bubbles until "
    "they break.",
    "fill": "Press thickened rubber into the marked undercuts until a straight shell can pass.",
    "thickened": "Brush thickened rubber evenly, high spots first. Tint every other coat so that "
    "bare places show.",
    "flange": "Lay flange and keys thick on the board and where they are marked; smooth the "
    "outside, the shell copies it.",
}


def _silicone_steps(work: MouldWork) -> list[Step]:
    steps = []
    for coat in work.coats:
        last = coat is work.coats[-1]
        wait = (
            "The next coat goes on when this one is tacky but marks no glove."
            if not last
            else "Go on when a finger leaves no mark."
        )
        mixed = mixed_amounts(work.silicone, sum_of(coat.batches))
        thickener = (Amount("thickener", coat.thickener_g, "g"),) if coat.thickener_g else ()
        steps.append(
            Step(
                f"Silicone: {coat.name}",
                f"{_COAT_WORDS[coat.name.split()[0]]} {wait}",
                mixed + thickener,
                cups=len(coat.batches),
                least_min=coat.next_from_min,
                most_min=None if last else coat.next_until_min,
                caution_ids=_of([work.silicone], "tin-catalyst", "gloves-platinum"),
            )
        )
    return steps


def _shell_steps(work: MouldWork) -> list[Step]:
    shell = work.shell
    cautions = _of(
        [shell], "plaster", "styrene-peroxide", "glass-fibre", "isocyanate", "printed-plastic"
    )
    if work.shell_kind == "printed":
        return [
            Step(
                "Bed the printed shell",
                f"Dry-fit all {_pieces(work)}; they must slide on without springing. Release them "
                "inside, brush a bedding coat of the same silicone on the skin, set the pieces and "
                "bolt the flanges hand-tight.",
                least_min=work.coats[-1].next_from_min,
                caution_ids=cautions,
            )
        ]
    steps = []
    for number in range(1, work.shell_pieces + 1):
        wall = "Raise a clay wall on the parting line. " if number < work.shell_pieces else ""
        after = "Take the wall away, release the flange of the piece before. " if number > 1 else ""
        steps.append(
            Step(
                f"Shell: lay piece {number} of {work.shell_pieces}",
                f"{after}{wall}Lay release film on the skin, then {shell.name} about "
                f"{work.shell_mm:g} mm thick, half as much again at flanges and rim. Mark the "
                "bolt holes.",
                least_min=shell["piece_wait"].low,
                most_min=shell["piece_wait"].high,
                caution_ids=cautions,
            )
        )
    return steps


def _opening_steps(work: MouldWork) -> list[Step]:
    rubber, shell = work.silicone, work.shell
    factor = time_factor(work.temperature_c, activation_kj_mol=rubber.typical("activation_energy"))
    demould = rubber["demould"]
    order = ", then ".join(f"piece {n}" for n in range(1, work.shell_pieces + 1))
    steps = [
        Step(
            "Let the silicone cure",
            f"Leave everything closed at {work.temperature_c:g} °C or warmer, counted from the "
            "last coat. A nail must leave no mark in the rubber.",
            least_min=demould.low * factor,
            most_min=demould.high * factor,
        ),
        Step(
            "Open the mould",
            f"Take the shell off: {order}, each straight along its arrow. Wedges and patience, "
            "no prying. Peel the skin from the flange inwards and lift the master out whole.",
            caution_ids=("blades", *_of([shell], "glass-fibre")),
        ),
    ]
    first = rubber["first_resin_after"]
    already = time_at(rubber, "demould", work.temperature_c)
    if first.high > already:
        steps.append(
            Step(
                "Let the open mould rest",
                "Stand the skin in its shell, open, in moving air, before the first resin goes in.",
                least_min=max(0.0, first.low - already),
                most_min=first.high - already,
            )
        )
    return steps


def _pieces(work: MouldWork) -> str:
    return "1 piece" if work.shell_pieces == 1 else f"{work.shell_pieces} pieces"


def _of(rows: list[MaterialRow], *wanted: str) -> tuple[str, ...]:
    """Those of the wanted cautions that these materials are a reason for."""
    held = caution_ids_for(row.id for row in rows)
    return tuple(caution for caution in wanted if caution in held)
