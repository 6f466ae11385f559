"""The steps from a finished master to an open mould."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from firstpull.core.errors import WorkshopError
from firstpull.core.hazards.cautions import caution_ids_for
from firstpull.core.material.batch import sum_of, time_at
from firstpull.core.material.cure import time_factor
from firstpull.core.material.row import MaterialRow
from firstpull.core.mould.coats import BEDDING_COAT, SkinCoat
from firstpull.core.mould.skin import KEY_FOOT_MM, KEY_HEIGHT_MM, KEY_SPACING_MM
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
        shell_pieces: how many.
        shell_mm: wall of the shell.
        area_cm2: that is released and covered: show surface and bank.
        clay_cm3: of clay under and behind the master.
        flange_mm: width and thickness of the skin's flange.
        deepest_fill_mm: of the silicone fill; 0 where it is not known.
        bolts: through the flanges of the shell; 0 for one piece.
        joint_bolts, joint_dowels: that hold the printed parts of cut pieces together.
        in_order: whether the pieces come off as numbered; else in any order.
        fill_places: pockets to be filled, as the fill guide numbers them.
        gauges: cards that show by hand whether a pocket is full.
        loose_pieces: rigid pieces that lie loose in pockets under the shell.
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
    flange_mm: tuple[float, float]
    deepest_fill_mm: float = 0.0
    bolts: int = 0
    joint_bolts: int = 0
    joint_dowels: int = 0
    in_order: bool = True
    fill_places: int = 0
    gauges: int = 0
    loose_pieces: int = 0

    def __post_init__(self) -> None:
        if self.shell_pieces < 1 or not self.coats:
            raise WorkshopError(
                where="The mould",
                found=f"has {self.shell_pieces} shell pieces and {len(self.coats)} coats",
                limit="it needs at least one of each",
                remedy="Plan skin and shell before the steps.",
            )

    @property
    def skin_coats(self) -> tuple[SkinCoat, ...]:
        """The coats that make the skin."""
        return tuple(coat for coat in self.coats if coat.name != BEDDING_COAT)

    @property
    def bedding(self) -> SkinCoat | None:
        """The coat that a printed shell is set on, where there is one."""
        return next((coat for coat in self.coats if coat.name == BEDDING_COAT), None)

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
        *_loose_steps(work),
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


def _print_words(work: MouldWork, coat: SkinCoat) -> str:
    return (
        "Brush it thin and stipple into every corner, undercuts first; blow on bubbles until they "
        "break."
    )


def _fill_words(work: MouldWork, coat: SkinCoat) -> str:
    deep = f", up to {work.deepest_fill_mm:.0f} mm deep" if work.deepest_fill_mm >= 1 else ""
    return (
        f"Press thickened rubber into the undercuts, {coat.volume_cm3:.0f} cm³ in all{deep}, until "
        f"a straight shell can pass. {_where_to_fill(work)}"
    )


def _where_to_fill(work: MouldWork) -> str:
    if not work.fill_places:
        return "It lies in films and specks; the section on the page of the mould shows where."
    places = "place 1" if work.fill_places == 1 else f"places 1 to {work.fill_places}"
    check = ""
    if work.gauges:
        check = " and check with " + ("its gauge card" if work.gauges == 1 else "the gauge cards")
    return f"Fill {places} as the fill guide shows{check}."


def _thickened_words(work: MouldWork, coat: SkinCoat) -> str:
    return (
        "Brush thickened rubber evenly, high spots first. Tint every other coat so that bare "
        "places show."
    )


def _flange_words(work: MouldWork, coat: SkinCoat) -> str:
    width, thick = work.flange_mm
    finish = "shell copies it" if work.shell_kind == "laid" else "shell must slide over it"
    return (
        f"Lay a flange {width:g} mm wide and {thick:g} mm thick on the board all round. Set "
        f"blunt cones on the middle of it as keys, {2 * KEY_FOOT_MM:g} mm across at the foot, "
        f"{KEY_HEIGHT_MM:g} mm high, about {KEY_SPACING_MM:g} mm apart. What is left evens out "
        f"thin places. Smooth the outside, the {finish}."
    )


_COAT_WORDS: dict[str, Callable[[MouldWork, SkinCoat], str]] = {
    "print": _print_words,
    "fill": _fill_words,
    "thickened": _thickened_words,
    "flange": _flange_words,
}


def _silicone_steps(work: MouldWork) -> list[Step]:
    steps = []
    for coat in work.skin_coats:
        last = coat is work.skin_coats[-1]
        wait = (
            "The next coat goes on when this one is tacky but marks no glove."
            if not last
            else "Go on when a finger leaves no mark."
        )
        steps.append(
            Step(
                f"Silicone: {coat.name}",
                f"{_COAT_WORDS[coat.name.split()[0]](work, coat)} {wait}",
                _weighed(work, coat),
                cups=len(coat.batches),
                least_min=coat.next_from_min,
                most_min=None if last else coat.next_until_min,
                caution_ids=_of([work.silicone], "tin-catalyst", "gloves-platinum"),
            )
        )
    return steps


def _weighed(work: MouldWork, coat: SkinCoat) -> tuple[Amount, ...]:
    mixed = mixed_amounts(work.silicone, sum_of(coat.batches))
    return mixed + ((Amount("thickener", coat.thickener_g, "g"),) if coat.thickener_g else ())


def _loose_steps(work: MouldWork) -> list[Step]:
    count = work.loose_pieces
    if not count:
        return []
    them, each = ("it", "it") if count == 1 else ("them", "each")
    pocket, face = (
        ("its pocket", "Its outer face lies")
        if count == 1
        else (
            "their pockets, the last to come out first",
            "Their outer faces lie",
        )
    )
    return [
        Step(
            f"Set the loose piece{'s' if count > 1 else ''}",
            f"Release {them} on all sides, set {them} in {pocket}, and try that {each} draws out "
            f"along its way. {face} flush with the skin; the shell goes over {them}.",
            caution_ids=_of([work.release], "solvent"),
        )
    ]


def _shell_steps(work: MouldWork) -> list[Step]:
    if work.shell_kind == "printed":
        return [_bed_step(work)]
    return [_lay_step(work, number) for number in range(1, work.shell_pieces + 1)]


def _bed_step(work: MouldWork) -> Step:
    one = work.shell_pieces == 1
    them = "it" if one else "they"
    bed = work.bedding
    rubber = work.silicone
    brush = "brush the bedding coat of the same silicone on the skin, " if bed else ""
    close = "set the shell on" if one else "set the pieces on"
    bolt = " and bolt the flanges hand-tight" if work.bolts else ""
    return Step(
        "Bed the printed shell",
        f"{_joined(work)}Dry-fit {'the shell' if one else f'all {work.shell_pieces} pieces'}; "
        f"{them} must slide on without springing. Wax {'it' if one else 'them'} inside, "
        f"{brush}{close}{bolt}.",
        _weighed(work, bed) if bed else (),
        cups=len(bed.batches) if bed else 0,
        least_min=bed.next_from_min if bed else None,
        caution_ids=_cautions_of_shell(work)
        + (_of([rubber], "tin-catalyst", "gloves-platinum") if bed else ()),
    )


def _joined(work: MouldWork) -> str:
    if not work.joint_bolts:
        return ""
    what = "the shell" if work.shell_pieces == 1 else "each cut piece"
    return (
        f"Bolt the printed parts of {what} together on their dowels, {work.joint_bolts} bolts in "
        "all; they stay joined for good. "
    )


def _lay_step(work: MouldWork, number: int) -> Step:
    shell, several = work.shell, work.shell_pieces > 1
    wall = "Raise a clay wall on the parting line. " if number < work.shell_pieces else ""
    after = "Take the wall away, release the flange of the piece before. " if number > 1 else ""
    bolts = " Mark the bolt holes." if work.bolts else ""
    return Step(
        f"Shell: lay piece {number} of {work.shell_pieces}" if several else "Shell: lay it",
        f"{after}{wall}Lay release film on the skin, then {shell.name} about "
        f"{work.shell_mm:g} mm thick, half as much again at {'flanges and ' if several else 'the '}"
        f"rim.{bolts}",
        least_min=shell["piece_wait"].low,
        most_min=shell["piece_wait"].high,
        caution_ids=_cautions_of_shell(work),
    )


def _cautions_of_shell(work: MouldWork) -> tuple[str, ...]:
    shell = work.shell
    return _of(
        [shell], "plaster", "styrene-peroxide", "glass-fibre", "isocyanate", "printed-plastic"
    )


def _opening_steps(work: MouldWork) -> list[Step]:
    rubber, shell = work.silicone, work.shell
    factor = time_factor(work.temperature_c, activation_kj_mol=rubber.typical("activation_energy"))
    demould = rubber["demould"]
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
            f"{_shell_off(work)} Wedges and patience, no prying. {_loose_out(work)}Peel the skin "
            "from the flange inwards and lift the master out whole.",
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


def _shell_off(work: MouldWork) -> str:
    where = "as the page on how it comes off says"
    if work.shell_pieces == 1:
        return f"Lift the shell off straight along its pull, {where}."
    unbolt = "Unbolt the shell and take it off" if work.bolts else "Take the shell off"
    if not work.in_order:
        return f"{unbolt} in any order, each piece straight along its pull, {where}."
    order = ", then ".join(f"piece {n}" for n in range(1, work.shell_pieces + 1))
    return f"{unbolt}: {order}, each straight along its pull, {where}."


def _loose_out(work: MouldWork) -> str:
    """They lie under the shell, so it must be off."""
    if not work.loose_pieces:
        return ""
    what = "the loose piece" if work.loose_pieces == 1 else "the loose pieces as numbered"
    return f"Then draw out {what}, along {'its' if work.loose_pieces == 1 else 'their'} own way. "


def _of(rows: list[MaterialRow], *wanted: str) -> tuple[str, ...]:
    """Those of the wanted cautions that these materials are a reason for."""
    held = caution_ids_for(row.id for row in rows)
    return tuple(caution for caution in wanted if caution in held)
