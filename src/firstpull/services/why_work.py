"""Why these numbers: steps, their waits and amounts, the schedule and the shopping list."""

from __future__ import annotations

from firstpull.services.why_entry import Catalogue, Entry
from firstpull.services.why_mix import AT_ROOM, CUPS, HANDS
from firstpull.services.why_shopping import LAYERS

STEP = "steps.*."
MOULD = "parts.0.moulds.0."
CAST = "parts.0.cast."
ROOM = CAST + "temperature_c"
MADE = CAST + "castings"

TITLE = STEP + "title"
SILICONE, RESIN = f"{MOULD}coats.@.", f"{CAST}coats.@."
BED = f"{MOULD}coats.[bedding coat]."
COATS = (("Silicone:", SILICONE, "silicone"), ("Cast:", RESIN, "resin"))
WARMED = ("silicone.demould", "silicone.activation_energy")

Waits = tuple[str, str, str, tuple[str, ...], tuple[str, ...]]

WAITS: tuple[Waits, ...] = (
    ("Prove the stack", "12 hours: overnight, common practice", "24 hours", (), ()),
    (
        "Seal and release", "usual time to dry", "longest time to dry", (), ("release.dry",),
    ),
    (
        "Silicone:",
        f"when the next coat may go on: share of the pot life x pot life {AT_ROOM}",
        f"until when it bonds well: share of the demould time x demould time {AT_ROOM}",
        (ROOM,),
        ("silicone.recoat_from", "silicone.pot_life", "silicone.recoat_until", *WARMED),
    ),
    (
        "Bed the printed",
        f"share of the pot life x pot life {AT_ROOM}", "no end", (ROOM,),
        ("silicone.recoat_from", "silicone.pot_life", "silicone.activation_energy"),
    ),
    (
        "Shell:", "shortest time until the next piece may be laid",
        "longest time until the next piece may be laid", (), ("shell.piece_wait",),
    ),
    (
        "Let the silicone", f"shortest demould time {AT_ROOM}", f"longest demould time {AT_ROOM}",
        (ROOM,), WARMED,
    ),
    (
        "Let the open",
        f"shortest time to the first resin - usual demould time {AT_ROOM}; no less than 0",
        f"longest time to the first resin - usual demould time {AT_ROOM}",
        (ROOM,), ("silicone.first_resin_after", *WARMED),
    ),
    ("Close the mould", "shortest time to dry", "longest time to dry", (), ("release.dry",)),
    (
        "Cast:", f"gel time {AT_ROOM}", f"demould time {AT_ROOM}", (ROOM,),
        ("resin.gel", "resin.demould", "resin.activation_energy"),
    ),
)  # fmt: skip


def _waits(end: str) -> tuple[Entry, ...]:
    """Shortest or longest wait of each kind of step; ``end`` is "least" or "most"."""
    what = f"{'shortest' if end == 'least' else 'longest'} wait before the next step"
    entries = [
        Entry(
            what, least if end == "least" else most, inputs, rows, unit="min", of=TITLE,
            when=(TITLE, begins),
        )
        for begins, least, most, inputs, rows in WAITS
    ]  # fmt: skip
    place = 0 if end == "least" else 1
    entries.append(
        Entry(
            what, "the wait for a thin wall", (f"{CAST}demould_min.{place}",), unit="min",
            of=TITLE, when=(TITLE, "Let the casting"),
        )
    )  # fmt: skip
    return tuple(entries)


def _cups() -> tuple[Entry, ...]:
    found = [
        Entry(
            "equal cups that the coat is mixed in", CUPS,
            (f"{coat}area_cm2", f"count {coat}batches"),
            HANDS[row], of=TITLE, when=(TITLE, begins), rows_in=f"{coat}why",
        )
        for begins, coat, row in COATS
    ]  # fmt: skip
    bed = Entry(
        "equal cups that the bedding coat is mixed in", "0 without one; " + CUPS,
        (f"{BED}area_cm2",),
        HANDS["silicone"], of=TITLE, when=(TITLE, "Bed the"), rows_in=f"{BED}why",
    )  # fmt: skip
    return (*found, bed, Entry("cups", "nothing is mixed in this step", of=TITLE))


def _amounts() -> dict[str, tuple[Entry, ...]]:
    first_what = f"{STEP}amounts.0.what"
    clay = Entry(
        "clay", "volume x density", (f"{MOULD}clay_cm3",), ("clay.density",), of=first_what,
        when=(TITLE, "Set the master"),
    )  # fmt: skip
    release = Entry(
        "release", "2 coats x area / 100 x use of 1 dm²", (f"{MOULD}coats.0.area_cm2",),
        ("release.use",), of=first_what, when=(TITLE, "Seal"),
    )  # fmt: skip
    parts = (("0", "a"), ("1", "b"))
    found: dict[str, tuple[Entry, ...]] = {}
    for place, part in parts:
        what = f"{STEP}amounts.{place}.what"
        mixed = tuple(
            Entry(
                "weighed out for all cups, waste included", "the sum of the cups",
                (f"{coat}batches.#.{part}_g",), of=what, when=(TITLE, begins),
            )
            for begins, coat, _ in COATS
        )  # fmt: skip
        bed = Entry(
            "weighed out for the bedding coat, waste included", "the sum of its cups",
            (f"{BED}batches.#.{part}_g",), of=what, when=(TITLE, "Bed the"),
        )  # fmt: skip
        first = (clay, release) if place == "0" else ()
        found[f"{STEP}amounts.{place}.value"] = (*first, *mixed, bed)
    what = f"{STEP}amounts.2.what"
    found[f"{STEP}amounts.2.value"] = (
        Entry(
            "thickener for all cups", "as for the coat", (f"{SILICONE}thickener_g",), of=what,
            when=(what, "thickener"),
        ),
        Entry(
            "weighed out for all cups, waste included", "the sum of the cups",
            (f"{RESIN}batches.#.powder_g",), of=what, when=(what, "powder"),
        ),
    )  # fmt: skip
    return found


def _schedule() -> dict[str, Entry]:
    found = {}
    ends = (
        ("0", "least", "the shortest waits of its steps, added up", ("least",)),
        ("1", "most", "the longest waits of its steps, added up; an open end counts as its "
         "beginning", ("most", "least")),
    )  # fmt: skip
    for place, end, formula, keys in ends:
        for name, what, coats in (
            ("mould", "to make the mould", LAYERS),
            ("casting", "of one casting", ("slush-casting.coat",)),
        ):
            found[f"schedule.{name}_min.{place}"] = Entry(
                f"{end} time {what}, work of the hands not counted", formula,
                tuple(f"steps.{name}#.minutes_{key}" for key in keys), coats, unit="min",
            )  # fmt: skip
    return found | {
        "schedule.castings": Entry("castings to make, one after the other", "as planned", (MADE,)),
        "schedule.castings_a_day": Entry(
            "castings in a working day",
            "8 hours / longest time of a casting, rounded down; at least 1",
            ("schedule.casting_min.1",),
        ),
        "schedule.edition_days": Entry(
            "working days for all castings",
            "castings / castings a day, rounded up",
            ("schedule.castings", "schedule.castings_a_day"),
        ),
    }


WORK: Catalogue = {
    f"{STEP}cups": _cups(),
    f"{STEP}minutes_least": _waits("least"),
    f"{STEP}minutes_most": _waits("most"),
    **_amounts(),
    **_schedule(),
}
