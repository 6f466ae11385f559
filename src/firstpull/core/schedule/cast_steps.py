"""The steps of casting: close, coat by coat, demould, trim, and again for the edition."""

from __future__ import annotations

from firstpull.core.cast.coat import CastCoat
from firstpull.core.cast.plan import CastPlan
from firstpull.core.hazards.cautions import caution_ids_for
from firstpull.core.material.batch import sum_of
from firstpull.core.material.row import MaterialRow
from firstpull.core.schedule.step import Step, mixed_amounts

EDGE_RADIUS_MM = 1.0
"""Common practice for metal-filled castings, which break sharp."""


def cast_steps(cast: CastPlan, *, release: MaterialRow, bolted: bool) -> tuple[Step, ...]:
    """One casting from the closed mould to the numbered pull, then the rest of the edition."""
    return (
        Step(
            "Close the mould",
            f"Seat the skin in its shell without folds{', bolt it,' if bolted else ''} and blow "
            f"the dust out. Brush {release.name} thin where the resin asks for it, and let it dry.",
            least_min=release["dry"].low,
            most_min=release["dry"].high,
            caution_ids=_held(cast, release, "solvent"),
        ),
        *(_coat_step(cast, coat) for coat in cast.coats),
        *_pull_steps(cast),
        _edition_step(cast),
    )


def _coat_step(cast: CastPlan, coat: CastCoat) -> Step:
    face = coat is cast.coats[0]
    cautions = _held(cast, None, "isocyanate", "styrene-peroxide", "epoxy", "heat-of-cure")
    if face and coat.amounts.powder_g:
        cautions += _held(cast, None, "metal-dust", "aluminium")
    last = coat is cast.coats[-1]
    return Step(
        f"Cast: {coat.name}",
        _face_words(cast, coat, last) if face else _backing_words(last),
        mixed_amounts(cast.resin, sum_of(coat.batches)),
        cups=len(coat.batches),
        least_min=coat.next_from_min,
        most_min=None if last else coat.next_until_min,
        caution_ids=cautions,
    )


def _face_words(cast: CastPlan, coat: CastCoat, last: bool) -> str:
    a_name, b_name = cast.resin.parts or ("A", "B")
    if not coat.amounts.powder_g:
        mix = "Mix cup by cup."
    elif "isocyanate" in cast.resin.traits:
        mix = f"Cup by cup: stir the powder into {b_name}, then add {a_name}."
    else:
        mix = f"Cup by cup: stir the powder into the {a_name}, then add the {b_name}."
    after = "" if last else " The next coat goes on just as this one has set."
    return f"{mix} Brush it into every corner, undercuts and rim first.{after}"


def _backing_words(last: bool) -> str:
    words = (
        "Pour in and turn the mould by hand until every face is wet and the resin stops running: "
        "crown, brow, rim, rest."
    )
    return words + (" Let it gather at brow, rim and strap anchors." if last else "")


def _pull_steps(cast: CastPlan) -> tuple[Step, ...]:
    edge = (
        f" Round every edge to at least {EDGE_RADIUS_MM:g} mm radius."
        if cast.coats[0].amounts.powder_g
        else ""
    )
    return (
        Step(
            "Let the casting set",
            "A thin wall makes little heat and waits longer than the tin says. It is ready when "
            "cool and when a nail leaves no mark at the rim.",
            least_min=cast.demould_min[0],
            most_min=cast.demould_min[1],
            caution_ids=_held(cast, None, "heat-of-cure"),
        ),
        Step(
            "Pull the casting",
            "Shell off, peel the skin away from the casting, and let the green casting rest in a "
            "cradle so that it keeps its shape.",
            caution_ids=("blades",),
        ),
        Step(
            "Trim, weigh, number",
            f"Cut to the trim line, wet-sand the rim.{edge} Weigh it, number it, write mass and "
            f"faults on the mould card; {cast.pull_mass.p10:.0f} to {cast.pull_mass.p90:.0f} g "
            "is expected.",
            caution_ids=("blades", *_held(cast, None, "metal-dust", "aluminium", "sharp-break")),
        ),
    )


def _edition_step(cast: CastPlan) -> Step:
    made = cast.castings
    return Step(
        "Cast the edition",
        f"Again from closing the mould: {made.sentence()}. The first pull cleans the mould. Keep "
        "a flawless one of the first three unpainted as the backup casting. Start the next pull "
        "only when the mould has cooled to the room.",
    )


def _held(cast: CastPlan, other: MaterialRow | None, *wanted: str) -> tuple[str, ...]:
    ids = [cast.resin.id, cast.powder.id] + ([other.id] if other else [])
    held = caution_ids_for(ids)
    return tuple(caution for caution in wanted if caution in held)
