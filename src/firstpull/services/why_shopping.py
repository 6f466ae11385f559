"""Why these numbers: what ends in the work, what is lost and what to buy."""

from __future__ import annotations

from firstpull.services.why_entry import Catalogue, Entry

Paths = tuple[str, ...]

ITEM = "shopping.*."
NAME = ITEM + "item"
MOULD = "parts.0.moulds.0."
CAST = "parts.0.cast."
SKIN_COATS, CAST_COATS = f"{MOULD}coats.#.", f"{CAST}coats.#."
MADE = CAST + "castings"
PIECES = f"count {MOULD}shell.pieces"
COVERED = f"{MOULD}coats.0.area_cm2"
SHELL_CM3 = f"{MOULD}shell.pieces.#.volume_cm3"


def _liquids() -> tuple[list[Entry], list[Entry]]:
    net, waste = [], []
    for kind, coats, parts in (
        ("silicone", SKIN_COATS, "ab"), ("resin", CAST_COATS, "ab"),
    ):  # fmt: skip
        for part in parts:
            begins = (NAME, f"{{{kind}_{part}}}")
            times = () if kind == "silicone" else (MADE,)
            all_of = "all coats" if kind == "silicone" else "castings x all coats"
            net.append(_line(all_of, (*times, f"{coats}{part}_g"), when=begins))
            waste.append(_lost(all_of, (*times, *_cups(coats, part)), f"{kind}", begins))
    powder = (NAME, "{powder}")
    net.append(_line("castings x all coats", (MADE, f"{CAST_COATS}powder_g"), when=powder))
    waste.append(
        _lost("castings x all coats", (MADE, *_cups(CAST_COATS, "powder")), "resin", powder)
    )
    return net, waste


def _cups(coats: str, part: str) -> tuple[str, ...]:
    return f"{coats}batches.#.{part}_g", f"{coats}{part}_g"


def _line(
    formula: str,
    inputs: Paths = (),
    rows: Paths = (),
    *,
    when: tuple[str, str] | None = None,
) -> Entry:
    return Entry("what ends in the work", formula, inputs, rows, of=NAME, when=when)


def _lost(all_of: str, inputs: tuple[str, ...], kind: str, when: tuple[str, str]) -> Entry:
    rows = (f"{kind}.waste_small", f"{kind}.waste_large")
    formula = f"cups - what ends in the work, over {all_of}"
    return Entry("what stays in cups and brushes", formula, inputs, rows, of=NAME, when=when)


LAYERS = ("brushed-skin.print_coat", "brushed-skin.thickened_coat")
"""What decides how many coats the skin has."""

SUNDRIES: tuple[tuple[str, str, Paths] | tuple[str, str, Paths, Paths], ...] = (
    (
        "mixing cups",
        "2 x (cups of the skin + castings x cups of a casting)",
        (f"{SKIN_COATS}batches.#.mixed_g", MADE, f"{CAST_COATS}batches.#.mixed_g"),
    ),
    (
        "stirring sticks",
        "cups of the skin + castings x cups of a casting",
        (f"{SKIN_COATS}batches.#.mixed_g", MADE, f"{CAST_COATS}batches.#.mixed_g"),
    ),
    ("brushes", "coats of silicone + castings", (f"count {MOULD}coats", MADE), LAYERS),
    (
        "gloves",
        "coats of silicone + shell pieces + castings x coats of a casting",
        (f"count {MOULD}coats", PIECES, MADE, f"count {CAST}coats"),
        (*LAYERS, "slush-casting.coat"),
    ),
    ("release film", "one roll for a laid shell", ()),
    ("bolts with washers and wing nuts", "bolts through the flanges, each counted once", ()),
    ("bolts with washers and nuts", "bolts of all joints", ()),
    ("dowels", "dowels of all joints", ()),
    ("respirator", "a pair", ()),
    ("board", "one", ()),
    ("sealer", "one, as needed", ()),
    ("silicone tint", "one, where more than one thickened coat is laid", (), LAYERS),
)

_NET, _WASTE = _liquids()
LAMINATE = ("shell.density", "shell.glass_share")

SHOPPING: Catalogue = {
    f"{ITEM}net": (
        *_NET,
        _line("all coats", (f"{SKIN_COATS}thickener_g",), when=(NAME, "{thickener}")),
        _line("volume x density", (SHELL_CM3,), ("shell.density",), when=(NAME, "{shell}")),
        _line(
            "volume x density x (1 - share of glass)", (SHELL_CM3,), LAMINATE,
            when=(NAME, "laminating"),
        ),
        _line(
            "volume x density x share of glass", (SHELL_CM3,), LAMINATE,
            when=(NAME, "chopped-strand"),
        ),
        _line("volume x density", (f"{MOULD}clay_cm3",), ("clay.density",), when=(NAME, "{clay}")),
        _line(
            "(2 coats on the master + one for each casting) x area / 100 x use of 1 dm²",
            (MADE, COVERED), ("release.use",), when=(NAME, "{release}"),
        ),
        *(
            _line(formula, inputs, *rows, when=(NAME, item))
            for item, formula, inputs, *rows in SUNDRIES
        ),
    ),
    f"{ITEM}waste": (
        *_WASTE,
        *(
            Entry(
                "what is lost", "net x share that is lost", (f"{ITEM}net",), (f"{kind}.waste",),
                of=NAME, when=(NAME, begins),
            )
            for kind, begins in (
                ("shell", "{shell}"), ("shell", "laminating"), ("shell", "chopped-strand"),
                ("clay", "{clay}"),
            )
        ),
        Entry("what is lost", "nothing is reckoned to be lost of it", of=NAME),
    ),
    f"{ITEM}buy": Entry("to buy", "net + waste", (f"{ITEM}net", f"{ITEM}waste"), of=NAME),
}  # fmt: skip
