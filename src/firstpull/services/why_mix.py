"""Why these numbers: coats of silicone and resin, cups, castings and the pull."""

from __future__ import annotations

from firstpull.services.why_entry import Catalogue, Entry

MOULD = "parts.*.moulds.*."
CAST = "parts.*.cast."
LAID = MOULD + "coats.*."
COAT = CAST + "coats.*."
ROOM = CAST + "temperature_c"

WARMTH = "exp(E / R x (1 / T - 1 / 296.15)), T = temperature + 273.15 in kelvin, R = 8.314"
AT_ROOM = f"x {WARMTH}"

WASTE = "(1 + waste of a cup); the smaller waste holds above 300 g a cup"
CUPS = "cups = what there is to lay / (speed of hands x minutes to lay), rounded up"


HANDS = {
    "silicone": (
        "silicone.pot_life?", "silicone.activation_energy?", "brushed-skin.brush_rate?",
        "brushed-skin.placing_rate?", "brushed-skin.stir?",
    ),
    "resin": (
        "resin.pot_life?", "resin.activation_energy?", "slush-casting.brush_rate?",
        "slush-casting.slush_rate?", "slush-casting.stir?",
    ),
}  # fmt: skip
"""What decides how much one cup can lay, as far as the coat's own answer names it."""


def _cup(coat: str, row: str, *, powder: bool) -> dict[str, Entry]:
    """The numbers of one cup, alike for silicone and resin."""
    cup, name = f"{coat}batches.*.", f"{coat}name"
    cups = f"count {coat}batches"
    waste = (f"{row}.waste_small", f"{row}.waste_large")
    hands = HANDS[row]
    parts = [("a", "part A"), ("b", "part B")] + ([("powder", "powder")] if powder else [])
    density = {
        "a": f"{row}.part_a_density",
        "b": f"{row}.part_b_density",
        "powder": "powder.bulk_density",
    }
    found = {
        f"{cup}mixed_g": Entry(
            "all of it in one cup", "the sum of its parts",
            tuple(f"{cup}{part}_g" for part, _ in parts), of=name,
        ),
        f"{cup}area_cm2": Entry(
            "area that one cup covers", "area of the coat / cups; " + CUPS,
            (f"{coat}area_cm2", cups), hands, of=name, rows_in=f"{coat}why",
        ),
        f"{cup}pot_life_min": Entry(
            "pot life in this room, from the first stir", f"pot life at 23 °C {AT_ROOM}",
            (ROOM,), (f"{row}.pot_life", f"{row}.activation_energy"), of=name,
        ),
    }  # fmt: skip
    for part, words in parts:
        found[f"{cup}{part}_g"] = Entry(
            f"{words} for one cup, waste included",
            f"{words} of the coat / cups x {WASTE}; {CUPS}",
            (f"{coat}{part}_g", cups), (*waste, *hands), of=name, rows_in=f"{coat}why",
        )  # fmt: skip
        found[f"{cup}{part}_ml"] = Entry(
            f"{words} for one cup, waste included", "grams / density of that part",
            (f"{cup}{part}_g",), (density[part],), of=name,
        )  # fmt: skip
        found[f"{coat}{part}_ml"] = Entry(
            f"{words} that ends in the work", "grams / density of that part",
            (f"{coat}{part}_g",), (density[part],), of=name,
        )  # fmt: skip
    found[f"{coat}waste_g"] = Entry(
        "left in cups and brushes", "all cups - what ends in the work",
        (f"{cup.replace('batches.*', 'batches.#')}mixed_g",
         *(f"{coat}{part}_g" for part, _ in parts)),
        waste, of=name,
    )  # fmt: skip
    return found


def _silicone() -> dict[str, Entry | tuple[Entry, ...]]:
    name = f"{LAID}name"
    even = ("skin.thickness_mm", "brushed-skin.print_coat", "brushed-skin.thickened_coat")
    volume, area, thick = f"{LAID}volume_cm3", f"{LAID}area_cm2", f"{LAID}thickness_mm"
    skin = f"{MOULD}skin."
    return {
        area: Entry(
            "area of the coat", "area of the body but for its foot on the board", of=name
        ),
        thick: (
            Entry(
                "thickness of the bedding coat", "the gap between skin and shell",
                (f"{MOULD}shell.clearance_mm",), of=name, when=(name, "bedding"),
            ),
            Entry(
                "thickness of the print coat",
                "as usual, and no more than the skin; thinner alike where the skin has no room "
                "for the even layer",
                (f"{skin}thickness_mm",), even[1:2], of=name, when=(name, "print"),
            ),
            Entry(
                "thickness of a thickened coat",
                "(skin - print coat) / coats; coats = (skin - print coat) / usual thickness, "
                "rounded; thinner alike where the skin has no room for the even layer",
                (f"{skin}thickness_mm",), even[1:], of=name, when=(name, "thickened"),
            ),
        ),
        volume: (
            Entry(
                "silicone of the fill", "the fill of the skin", (f"{skin}fill_cm3",), of=name,
                when=(name, "fill"),
            ),
            Entry(
                "silicone of flange and keys",
                "skin - fill - even layer, area x thickness",
                (f"{skin}volume_cm3", f"{skin}fill_cm3", f"{MOULD}coats.0.area_cm2",
                 f"{skin}thickness_mm"),
                of=name, when=(name, "flange"),
            ),
            Entry("silicone of the coat", "area x thickness", (area, thick), of=name),
        ),
        f"{LAID}a_g": Entry(
            "part A that ends in the work", "volume x density / (1 + B to 100 A / 100)",
            (volume,), ("silicone.density", "silicone.b_per_100a"), of=name,
        ),
        f"{LAID}b_g": Entry(
            "part B that ends in the work", "part A x B to 100 A / 100",
            (f"{LAID}a_g",), ("silicone.b_per_100a",), of=name,
        ),
        f"{LAID}thickener_g": (
            Entry("thickener", "none goes into this coat", of=name, when=(name, "print")),
            Entry("thickener", "none goes into this coat", of=name, when=(name, "bedding")),
            Entry(
                "thickener for all cups of the coat", "dose x all cups",
                (f"{LAID}batches.#.mixed_g",), ("thickener.dose",), of=name,
            ),
        ),
        f"{LAID}next_coat_min.0": Entry(
            "when the next coat may go on, from the first stir",
            f"share of the pot life x pot life at 23 °C {AT_ROOM}",
            (ROOM,),
            ("silicone.recoat_from", "silicone.pot_life", "silicone.activation_energy"),
            unit="min", of=name,
        ),
        f"{LAID}next_coat_min.1": Entry(
            "until when the next coat bonds well, from the first stir",
            f"share of the demould time x demould time at 23 °C {AT_ROOM}; no less than when it "
            "may go on",
            (ROOM, f"{LAID}next_coat_min.0"),
            ("silicone.recoat_until", "silicone.demould", "silicone.activation_energy"),
            unit="min", of=name,
        ),
        **_cup(LAID, "silicone", powder=False),
    }  # fmt: skip


def _resin() -> dict[str, Entry | tuple[Entry, ...]]:
    name, thick = f"{COAT}name", f"{COAT}thickness_mm"
    area, kept = f"{COAT}area_cm2", f"{COAT}why"
    dense = f"{kept}.inputs.mixed density_g_cm3"
    ratio = f"{kept}.inputs.powder to resin by weight"
    net, mix = "area x thickness x density of the set mix", (area, thick, dense, ratio)
    return {
        area: Entry(
            "area of the coat, the band that is cut off included",
            "the larger of show surface and area under the skin",
            (f"{MOULD.replace('moulds.*', 'moulds.0')}show_area_cm2",
             f"{MOULD.replace('moulds.*', 'moulds.0')}coats.0.area_cm2"),
            of=name,
        ),
        thick: (
            Entry(
                "thickness of the brushed face coat", "as the job sheet says",
                field="cast.face_coat_mm", of=name, when=(name, "face"),
            ),
            Entry(
                "thickness of a slushed coat",
                "(wall - face coat) / coats; coats = (wall - face coat) / most for a coat, "
                "rounded up",
                (f"{CAST}wall_mm", f"{CAST}coats.0.thickness_mm"), ("slush-casting.coat",),
                of=name,
            ),
        ),
        f"{COAT}a_g": Entry(
            "part A that ends in the casting",
            f"{net} / (1 + powder by weight) / (1 + B to 100 A / 100)",
            mix, ("resin.density", "resin.b_per_100a"), of=name,
        ),
        f"{COAT}b_g": Entry(
            "part B that ends in the casting", "part A x B to 100 A / 100",
            (f"{COAT}a_g",), ("resin.b_per_100a",), of=name,
        ),
        f"{COAT}powder_g": Entry(
            "powder that ends in the casting",
            f"{net} x powder by weight / (1 + powder by weight)",
            mix, ("resin.density", "powder.true_density"), of=name,
        ),
        dense: Entry(
            "density of the set mix",
            "(w + 1) x resin x metal / (w x resin + metal), w = powder to resin by weight, "
            "resin and metal by density",
            (ratio,), ("resin.density", "powder.true_density"), of=name,
        ),
        ratio: Entry(
            "powder to mixed resin by weight",
            "by level cups: ratio x bulk density of the powder / density of the liquid mix; by "
            "weight the ratio itself; 0 where the coat is plain resin",
            (), ("powder.ratio_bulk?", "powder.ratio_weight?", "powder.bulk_density?",
                 "resin.part_a_density", "resin.part_b_density", "resin.b_per_100a"),
            of=name, rows_in=kept,
        ),
        f"{COAT}metal_fraction": Entry(
            "share of the coat's volume that is metal",
            "w x resin / (w x resin + metal), w = powder to resin by weight, both by density",
            (ratio,), ("resin.density", "powder.true_density"), of=name,
        ),
        f"{COAT}next_coat_min.0": Entry(
            "when the next coat goes on, from the first stir", f"gel time at 23 °C {AT_ROOM}",
            (ROOM,), ("resin.gel", "resin.activation_energy"), unit="min", of=name,
        ),
        f"{COAT}next_coat_min.1": Entry(
            "before when the next coat goes on, from the first stir",
            f"demould time at 23 °C {AT_ROOM}",
            (ROOM,), ("resin.demould", "resin.activation_energy"), unit="min", of=name,
        ),
        f"{COAT}demould_min": Entry(
            "how long the casting stays in the mould", "the longest wait for a thin wall",
            (f"{CAST}demould_min.1",), of=name,
        ),
        **_cup(COAT, "resin", powder=True),
    }  # fmt: skip


def _castings() -> dict[str, Entry | tuple[Entry, ...]]:
    made = f"{CAST}castings_made_of."
    wait = ("resin.demould", "resin.activation_energy", "slush-casting.thin_wall_demould")
    total = Entry(
        "castings to make", "good + cleaner + backup + rejects",
        tuple(f"{made}{name}" for name in ("good", "cleaner", "backup", "rejects")),
        ("slush-casting.cleaner_pulls", "slush-casting.backup_castings", "slush-casting.rejects"),
        kept=f"{made}why",
    )  # fmt: skip
    return {
        f"{CAST}castings": total,
        f"{made}total": total,
        f"{made}good": Entry("good castings wanted", "as asked", ("job.good_castings",)),
        f"{made}cleaner": Entry(
            "first pulls that only clean the mould", "as usual", (),
            ("slush-casting.cleaner_pulls",),
        ),
        f"{made}backup": Entry(
            "castings kept to make a second mould from", "as usual", (),
            ("slush-casting.backup_castings",),
        ),
        f"{made}rejects": Entry(
            "castings expected to fail",
            "(good + backup) / (1 - share of rejects), rounded up, - (good + backup)",
            (f"{made}good", f"{made}backup"), ("slush-casting.rejects",),
        ),
        f"{CAST}demould_min.0": Entry(
            "shortest wait before a casting leaves the mould",
            f"low figure for a thin wall x demould time at 23 °C {AT_ROOM}",
            (ROOM,), wait, unit="min",
        ),
        f"{CAST}demould_min.1": Entry(
            "longest wait before a casting leaves the mould",
            f"high figure for a thin wall x demould time at 23 °C {AT_ROOM}",
            (ROOM,), wait, unit="min",
        ),
        f"{CAST}pull_mass_g": Entry(
            "mass of one trimmed casting, without paint and fittings",
            "sum over the coats of show area x thickness x density; thickness and density drawn",
            (f"{MOULD.replace('moulds.*', 'moulds.0')}show_area_cm2",
             f"{CAST}coats.#.thickness_mm"),
            ("slush-casting.thickness_ratio", "resin.density", "powder.true_density"),
            kept=f"{CAST}pull_mass_why", spread=f"{CAST}pull_mass_g",
        ),
        f"{CAST}metal_fraction": Entry(
            "share of the face coat's volume that is metal", "as in the face coat",
            (f"{CAST}coats.0.metal_fraction",),
        ),
        f"{CAST}waste_g": Entry(
            "waste of one casting", "the waste of its coats", (f"{CAST}coats.#.waste_g",)
        ),
        f"{CAST}trimmed_g": Entry(
            "of one casting's mix, what is cut off with the band",
            "all coats x (1 - show surface / area of a coat)",
            (f"{CAST}coats.#.a_g", f"{CAST}coats.#.b_g", f"{CAST}coats.#.powder_g",
             f"{MOULD.replace('moulds.*', 'moulds.0')}show_area_cm2",
             f"{CAST}coats.0.area_cm2"),
        ),
        f"{CAST}wall_mm": Entry(
            "whole wall of the casting", "as the job sheet says", field="cast.wall_mm"
        ),
        ROOM: Entry(
            "temperature of room and material", "as the job sheet says",
            field="shop.temperature_c",
        ),
        f"{CAST}findings.*.count": Entry(
            "how many of this kind", "counted", of=f"{CAST}findings.*.kind"
        ),
    }  # fmt: skip


MIXES: Catalogue = {**_silicone(), **_resin(), **_castings()}
