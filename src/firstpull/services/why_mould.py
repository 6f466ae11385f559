"""Why these numbers: body, skin, fill, shell and the proof of a mould."""

from __future__ import annotations

from firstpull.services.why_entry import Catalogue, Entry

MOULD = "parts.*.moulds.*."
SKIN = MOULD + "skin."
FILL = SKIN + "fill."
PLACE = FILL + "places.*."
SHELL = MOULD + "shell."
PIECE = SHELL + "pieces.*."
LOOSE = SHELL + "loose.*."
STAYS = SHELL + "stays_deep.*."
LEAST = MOULD + "least_pieces."
CHECK = MOULD + "proof.checks.*."

VOLUME = "sum over the triangles of the solid of a . (b x c) / 6, corners a, b, c"

BODY: Catalogue = {
    f"{MOULD}frame.board_z_mm": Entry("height of the board", "the mould frame begins at the board"),
    f"{MOULD}frame.grid_mm": Entry(
        "spacing of the grid that skin and shell are shaped on",
        "as the job sheet says",
        field="grid_mm",
    ),
    f"{MOULD}show_area_cm2": Entry(
        "area that the mould copies", "sum of the areas of the triangles of the show surface"
    ),
    f"{MOULD}show_painted_cm2.copied": Entry(
        "area that a brush gave to the show surface",
        "sum of the areas of the triangles that are copied as painted and would be left without",
        unit="cm²",
        field="master.paint",
    ),
    f"{MOULD}show_painted_cm2.left": Entry(
        "area that a brush took from the show surface",
        "sum of the areas of the triangles that are left as painted and would be copied without",
        unit="cm²",
        field="master.paint",
    ),
    f"{MOULD}body.volume_cm3": Entry("volume of body: master and clay on the board", VOLUME),
    f"{MOULD}clay_cm3": Entry(
        "clay or filler",
        "volume of the body - volume of the master above the board",
        (f"{MOULD}body.volume_cm3", "parts.*.master.volume_cm3"),
    ),
    f"{MOULD}relief.*.z_mm": Entry(
        "height of a level cut of the body", "multiples of 1, 2 or 5 times a power of ten"
    ),
    f"{MOULD}findings.*.count": Entry(
        "how many of this kind", "counted", of=f"{MOULD}findings.*.kind"
    ),
    f"{SKIN}thickness_mm": Entry(
        "thickness of the even layer of silicone",
        "as the job sheet says",
        field="skin.thickness_mm",
    ),
    f"{SKIN}volume_cm3": Entry(
        "silicone of the skin: even layer, flange, keys and fill",
        VOLUME + "; loose pieces taken out",
    ),
    f"{SKIN}fill_cm3": Entry(
        "silicone that only closes undercuts",
        "volume within the filled outside - volume within the plain outside, board upward, "
        "loose pieces taken out",
    ),
    f"{SKIN}mass_g": Entry(
        "mass of the finished skin",
        "(volume + area x (thickness put on - thickness meant)) x density; both drawn",
        (f"{SKIN}volume_cm3", f"{MOULD}coats.0.area_cm2", f"{SKIN}thickness_mm"),
        ("silicone.density", "brushed-skin.thickness_ratio"),
        kept=f"{SKIN}mass_why",
        spread=f"{SKIN}mass_g",
    ),
    f"{SKIN}stretch.ratio": Entry(
        "stretch of the skin's worst loop as it is peeled",
        "longest loop that must be passed above / the loop's own length, over 60 level cuts; a "
        "loop bridges hollows",
    ),
    f"{SKIN}stretch.limit": Entry(
        "stretch that rubber takes pull after pull",
        "1 + 40 %; common practice for Shore 30A",
    ),
    f"{SKIN}stretch.loop_z_mm": Entry(
        "height of the loop that stretches most", "where the ratio is largest"
    ),
    f"{SKIN}stretch.passes_z_mm": Entry(
        "height of the place that loop must pass", "where the longest loop above it lies"
    ),
    f"{SKIN}pockets.*.bulb_mm": Entry(
        "width of a pocket at its widest",
        "2 x the greatest distance to the body within it, on the grid",
    ),
    f"{SKIN}pockets.*.mouth_mm": Entry(
        "width of the pocket's mouth",
        "2 x (the least radius tried at which no ball gets out + half a grid step)",
        (f"{MOULD}frame.grid_mm",),
    ),
}

GUIDE: Catalogue = {
    f"{PLACE}number": Entry("number of the pocket", "counted from 1, the largest first"),
    f"{PLACE}depth_mm": Entry(
        "how far the filled surface stands off the plain skin",
        "the greatest distance from the filled surface to the plain skin",
    ),
    f"{PLACE}bottom_mm": Entry(
        "how thick silicone lies on the bottom of the pocket",
        "the greatest distance from the plain skin out to the filled surface",
    ),
    f"{PLACE}volume_cm3": Entry(
        "silicone that fills this pocket", "grid cells counted, those on a surface in part"
    ),
    f"{PLACE}area_cm2": Entry("area of the filled surface", "sum of the areas of its triangles"),
    f"{PLACE}pieces.*": Entry(
        "number of a shell piece over the pocket", "most of the pocket's volume first"
    ),
    f"{PLACE}mass_g": Entry(
        "silicone that fills this pocket",
        "volume x density, the middle of its spread",
        (f"{PLACE}volume_cm3",),
        ("silicone.density",),
    ),
    f"{PLACE}gauge.number": Entry("pocket that the card is for", "the pocket's number"),
    f"{PLACE}gauge.rests_mm.*": Entry(
        "how long the card lies on plain skin at one end",
        "from the end of the card to where the fill begins, along the card",
        unit="mm",
    ),
    f"{FILL}rest_cm3": Entry(
        "films and specks that go on with the coats",
        "all fill counted on the grid - the pockets",
        (f"{FILL}total_cm3", f"{FILL}places.#.volume_cm3"),
    ),
    f"{FILL}rest_g": Entry(
        "films and specks that go on with the coats",
        "volume x density, the middle of its spread",
        (f"{FILL}rest_cm3",),
        ("silicone.density",),
    ),
    f"{FILL}total_cm3": Entry(
        "all fill, counted in grid cells",
        "pockets + rest",
        (f"{FILL}places.#.volume_cm3", f"{FILL}rest_cm3"),
    ),
}

SHELLS: Catalogue = {
    f"{SHELL}thickness_mm": Entry(
        "wall of the shell", "as the job sheet says", field="shell.thickness_mm"
    ),
    f"{SHELL}clearance_mm": Entry(
        "gap between skin and shell", "as the job sheet says", field="shell.clearance_mm"
    ),
    f"{SHELL}draft_deg": Entry(
        "least lean of the shell's faces to its pull",
        "as the job sheet says",
        field="shell.draft_deg",
    ),
    f"{PIECE}volume_cm3": Entry("volume of a shell piece, flanges included", VOLUME),
    f"{PIECE}mass_g": Entry(
        "mass of a shell piece, solid",
        "volume x density; density drawn",
        (f"{PIECE}volume_cm3",),
        ("shell.density",),
        spread=f"{PIECE}mass_spread_g",
    ),
    f"{PIECE}mass_spread_g": Entry(
        "mass of a shell piece, solid",
        "volume x density; density drawn",
        (f"{PIECE}volume_cm3",),
        ("shell.density",),
        spread=f"{PIECE}mass_spread_g",
    ),
    f"{PIECE}parts.*.volume_cm3": Entry("volume of a printed part", VOLUME),
    **{
        f"{PIECE}parts.*.size_mm.{axis}": Entry(
            f"{side} that a printed part takes in the build box",
            "greatest less least coordinate along that side of the box, as the part is turned",
            unit="mm",
        )
        for axis, side in enumerate(("width", "depth", "height"))
    },
    f"{LOOSE}volume_cm3": Entry("volume of a loose piece", VOLUME),
    f"{LOOSE}depth_mm": Entry(
        "how deep the fill would be without the loose piece",
        "the greatest distance of the fill from the plain skin",
    ),
    f"{LOOSE}fill_saved_cm3": Entry(
        "silicone that the loose piece saves, its gap included",
        "volume of the skin without the loose piece - volume of the skin with it",
    ),
    f"{LOOSE}deepest_left_mm": Entry(
        "deepest fill left with the loose piece in",
        "the greatest distance of what fill is left from the plain skin",
    ),
    f"{STAYS}depth_mm": Entry(
        "how deep fill stays", "the greatest distance of the fill from the plain skin"
    ),
    f"{STAYS}tried": Entry("pulls tried for a loose piece", "counted"),
    f"{STAYS}best_share": Entry(
        "most of the pocket's fill that one pull frees", "volume freed / volume of the fill"
    ),
}

FEWEST: Catalogue = {
    f"{LEAST}found": Entry(
        "fewest pulls found that together free the shell without fill",
        "a smallest cover of the reachable surface by pulls",
        (f"{LEAST}tried", f"{LEAST}share"),
    ),
    f"{LEAST}at_least": Entry(
        "fewer pulls than this cannot free it",
        "proved by counting all sets of up to three pulls, beyond that by a bound",
        (f"{LEAST}tried", f"{LEAST}share"),
    ),
    f"{LEAST}share": Entry(
        "share of the reachable surface that was asked for",
        "99 %: the rest is a film that goes on with the coats",
    ),
    f"{LEAST}reached_share": Entry(
        "share of the reachable surface that these pulls reach",
        "area that at least one of them reaches / area that any pull tried reaches",
    ),
    f"{LEAST}too_few.*": Entry(
        "most of the reachable surface that so many pulls reach",
        "the best of all sets of that many pulls: one first, then two, then three",
    ),
    f"{LEAST}silicone_share": Entry(
        "share of the surface that no pull reaches",
        "area that none of the pulls tried reaches / whole area",
    ),
    f"{LEAST}tried": Entry(
        "pulls tried",
        "directions spread over the whole sphere, those that lift off the board by the draft",
    ),
}


def _checks() -> dict[str, tuple[Entry, ...]]:
    """What is found and what it is held against, by the beginning of a check's name."""
    told = (
        (
            "solid", "faults of the solid", "faults counted: open, inside out or loose surfaces",
            "no fault is allowed", "",
        ),
        (
            "pull", "rise of the pull over the board, as a sine", "z of the unit pull",
            "sine of the draft", "",
        ),
        (
            "apart", "how deep two solids stand in one another",
            "greatest depth of one's points in the other",
            "0.05 mm; where the overlap is a crumb on a crease of the grid, grid x 1.414 / 4", "mm",
        ),
        (
            "release", "how deep the moving piece runs into what is in its way",
            "greatest overlap met along the pull, by steps and by lines",
            "0.05 mm, noise of faceted surfaces", "mm",
        ),
        (
            "draft", "share of the inner face that frees itself by less than the draft",
            "area of points whose gap lags behind clearance + travel x sin(draft) / all of it",
            "0.5 % of the inner face", "",
        ),
        (
            "support", "share of the inner face that lies against silicone",
            "area of points with silicone within the clearance and 0.3 mm / all of it",
            "at least 98 %", "",
        ),
        (
            "gap", "least distance of the shell from the body",
            "least over the shell's corners and points 1 mm apart",
            "skin thickness + clearance - 0.2 mm", "mm",
        ),
        (
            "show bare", "share of the show surface under clay",
            "area of points with clay 0.1 mm before them / all of it", "0.2 %", "",
        ),
        (
            "show true", "distance of the body from the show surface",
            "kept by all but 0.2 % of the show surface", "0.05 mm", "mm",
        ),
        (
            "show covered", "share of the show surface without silicone",
            "area of points with no silicone 0.1 mm before them / all of it", "0.2 %", "",
        ),
    )  # fmt: skip
    limits = {
        "pull": (f"{SHELL}draft_deg",),
        "apart": (f"{MOULD}frame.grid_mm",),
        "gap": (f"{SKIN}thickness_mm", f"{SHELL}clearance_mm"),
    }
    name = f"{CHECK}name"
    found = tuple(
        Entry(what, formula, unit=unit, of=name, when=(name, begins))
        for begins, what, formula, _, unit in told
    )
    limit = tuple(
        Entry(
            f"limit: {what}", formula, limits.get(begins, ()), unit=unit, of=name,
            when=(name, begins),
        )
        for begins, what, _, formula, unit in told
    )  # fmt: skip
    return {f"{CHECK}found": found, f"{CHECK}limit": limit}


MOULDS: Catalogue = {**BODY, **GUIDE, **SHELLS, **FEWEST, **_checks()}
