"""Why these numbers: the choice chart of shell pieces."""

from __future__ import annotations

from firstpull.services.why_entry import Catalogue, Entry

OPTION = "parts.*.moulds.*.options.*."
LOCK = OPTION + "locks.*."
PIECES = OPTION + "pieces"

SHELL = "parts.*.moulds.*.shell."

CHOICES: Catalogue = {
    PIECES: Entry("shell pieces of this choice", "zones between its parting walls, counted"),
    f"{OPTION}fill_cm3": Entry(
        "silicone that closes undercuts, in this choice",
        "as built for the chosen one; else counted on a grid twice as coarse: what each piece's "
        "pull sweeps, less the plain skin",
    ),
    f"{OPTION}fill_g": Entry(
        "fill by weight, in this choice",
        "volume by the drawing x density",
        (f"{OPTION}fill_cm3",),
        ("silicone.density",),
        kept=f"{OPTION}whys.fill_g",
    ),
    f"{OPTION}silicone_g": Entry(
        "silicone of the skin, in this choice",
        "volume by the drawing x density",
        (),
        ("silicone.density",),
        kept=f"{OPTION}whys.silicone_g",
    ),
    f"{OPTION}silicone_cost": Entry(
        "cost of that silicone, in the money of the price",
        "mass of the skin x price; what stays in cups is not in it",
        (f"{OPTION}silicone_g",),
        kept=f"{OPTION}whys.silicone_cost",
    ),
    f"{OPTION}shell_g": Entry(
        "mass of all shell pieces, in this choice",
        "volume by the drawing x density",
        (),
        ("shell.density",),
        kept=f"{OPTION}whys.shell_g",
    ),
    f"{OPTION}shell_min": (
        Entry(
            "time to lay all shell pieces one after the other",
            "pieces x time until the next piece may be laid against it",
            (PIECES,),
            ("shell.piece_wait",),
            kept=f"{OPTION}whys.shell_min",
            when=(f"{SHELL}kind", "laid"),
        ),
        Entry(
            "time to print all shell pieces",
            "volume of the shell / what the printer lays in an hour; no supports, no failed prints",
            kept=f"{OPTION}whys.shell_min",
            when=(f"{SHELL}kind", "printed"),
        ),
    ),
    f"{OPTION}deepest_fill_mm": Entry(
        "deepest fill, in this choice",
        "the greatest distance to the plain skin of any cell that is more than half filled, on "
        "a grid twice as coarse",
        ("parts.*.moulds.*.frame.grid_mm",),
    ),
    f"{LOCK}piece": Entry("number of the shell piece that locks", "the piece whose pull it stops"),
    f"{LOCK}depth_mm": Entry(
        "how far fill reaches over the plain skin there",
        "the greatest distance to the plain skin of any cell of this place",
    ),
    f"{LOCK}volume_cm3": Entry(
        "silicone that this place takes", "filled cells that hang together, counted in part"
    ),
}
