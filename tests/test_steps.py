"""The step list and the shopping list agree with the coats they come from."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firstpull.core.cast.plan import CastPlan, plan_cast
from firstpull.core.errors import WorkshopError
from firstpull.core.hazards.cautions import cautions_for
from firstpull.core.material.row import find_material
from firstpull.core.mould.coats import plan_skin_coats
from firstpull.core.schedule.mould_steps import MouldWork
from firstpull.core.schedule.shopping import Item, shopping_list
from firstpull.core.schedule.step import Step
from firstpull.core.schedule.steps import plan_schedule, plan_steps
from firstpull.core.schedule.totals import Schedule

THICKENER = find_material("thickener-liquid", "thickener")


def a_mould(
    silicone: str = "silicone-tin-30a",
    shell: str = "plaster-bandage",
    *,
    pieces: int = 2,
    temperature_c: float = 23,
) -> MouldWork:
    row = find_material(silicone, "silicone")
    return MouldWork(
        silicone=row,
        shell=find_material(shell, "shell"),
        clay=find_material("clay-sulphur-free", "clay"),
        release=find_material("release-wax", "release"),
        coats=plan_skin_coats(
            area_cm2=850,
            volume_cm3=900,
            fill_cm3=60,
            thickness_mm=6,
            row=row,
            temperature_c=temperature_c,
            bedding_mm=1.5 if shell == "printed-plastic" else 0,
        ),
        shell_kind="printed" if shell == "printed-plastic" else "laid",
        shell_pieces=pieces,
        shell_mm=8,
        area_cm2=850,
        clay_cm3=400,
        flange_mm=(35, 8),
        deepest_fill_mm=12,
        bolts=8 if pieces > 1 else 0,
        temperature_c=temperature_c,
    )


def a_cast(resin: str = "urethane-medium", powder: str = "bronze-irregular") -> CastPlan:
    return plan_cast(
        show_area_cm2=650, good_castings=6, resin=resin, powder=powder, temperature_c=23
    )


def steps_of(mould: MouldWork | None = None, cast: CastPlan | None = None) -> dict[str, Step]:
    steps = plan_steps(mould or a_mould(), cast or a_cast())
    named = {step.title: step for step in steps}
    assert len(named) == len(steps), "two steps share a title"
    return named


def test_the_steps_run_from_patch_to_edition() -> None:
    assert list(steps_of()) == [
        "Prove the stack on a patch",
        "Set the master on the board",
        "Seal and release",
        "Silicone: print coat",
        "Silicone: fill of undercuts",
        "Silicone: thickened coat 1",
        "Silicone: thickened coat 2",
        "Silicone: thickened coat 3",
        "Silicone: flange and keys",
        "Shell: lay piece 1 of 2",
        "Shell: lay piece 2 of 2",
        "Let the silicone cure",
        "Open the mould",
        "Let the open mould rest",
        "Close the mould",
        "Cast: face coat",
        "Cast: backing coat 1",
        "Cast: backing coat 2",
        "Cast: backing coat 3",
        "Let the casting set",
        "Pull the casting",
        "Trim, weigh, number",
        "Cast the edition",
    ]


def test_a_tin_mould_opens_at_16_to_24_h_and_takes_resin_at_48_to_72_h() -> None:
    """Shop practice, at 23 C; the rest after opening is counted from the usual opening at 20 h."""
    steps = steps_of()
    cure, rest = steps["Let the silicone cure"], steps["Let the open mould rest"]
    assert (cure.least_min, cure.most_min) == pytest.approx((16 * 60, 24 * 60))
    opened = 20 * 60
    assert rest.least_min is not None and rest.most_min is not None
    assert (opened + rest.least_min, opened + rest.most_min) == pytest.approx((48 * 60, 72 * 60))


def test_warmth_halves_the_waits_of_the_rubber() -> None:
    """Rule of practice: times halve for 10 C more; the row's 52 kJ/mol is the rule within 0.5 %."""
    cool, warm = (steps_of(a_mould(temperature_c=c)) for c in (23, 33))
    for title in ("Silicone: print coat", "Let the silicone cure"):
        before, after = cool[title].least_min, warm[title].least_min
        assert before is not None and after == pytest.approx(before / 2, rel=0.005)


def test_a_thin_casting_waits_two_to_three_times_as_long_as_the_tin_says() -> None:
    """Model-makers' practice; the medium urethane is demoulded after 30 min at 23 C."""
    step = steps_of()["Let the casting set"]
    assert (step.least_min, step.most_min) == pytest.approx((60, 90))


def test_pieces_come_off_in_their_order_and_each_is_laid() -> None:
    one, two = (steps_of(a_mould(pieces=n)) for n in (1, 2))
    assert "piece 1, then piece 2" in two["Open the mould"].do
    assert "clay wall" in two["Shell: lay piece 1 of 2"].do
    assert "clay wall" not in one["Shell: lay it"].do
    for step in one.values():
        said = f"{step.title} {step.do}"
        assert not any(word in said for word in ("bolt", "arrow", "piece 1", "1 piece")), said
    assert "bolt it" in two["Close the mould"].do


def test_a_printed_shell_is_bedded_not_laid() -> None:
    steps = steps_of(a_mould(shell="printed-plastic"))
    assert "Bed the printed shell" in steps
    assert not any(title.startswith("Shell: lay") for title in steps)
    bedding = a_mould(shell="printed-plastic").coats[-1]
    bed = steps["Bed the printed shell"]
    assert sum(a.value for a in bed.amounts) == pytest.approx(
        bedding.amounts.mixed_g + bedding.waste_g
    )
    assert bed.cups == len(bedding.batches) and "tin-catalyst" in bed.caution_ids


def test_the_fill_and_the_flange_are_given_by_their_sizes() -> None:
    steps = steps_of()
    assert "60 cm³ in all, up to 12 mm deep" in steps["Silicone: fill of undercuts"].do
    assert "35 mm wide and 8 mm thick" in steps["Silicone: flange and keys"].do


def test_amounts_of_the_steps_are_what_is_mixed() -> None:
    mould, cast = a_mould(), a_cast()
    steps = steps_of(mould, cast)
    for coat in mould.coats:
        step = steps[f"Silicone: {coat.name}"]
        mixed = sum(a.value for a in step.amounts if a.what in ("base", "catalyst"))
        assert mixed == pytest.approx(coat.amounts.mixed_g + coat.waste_g)
        assert step.cups == len(coat.batches)
    for coat in cast.coats:
        step = steps[f"Cast: {coat.name}"]
        assert sum(a.value for a in step.amounts) == pytest.approx(
            coat.amounts.mixed_g + coat.waste_g
        )
    assert "Have ready for 1 cup: " in steps["Silicone: print coat"].text


def test_cautions_of_steps_are_on_the_list_for_the_materials() -> None:
    for silicone, shell, resin, powder in (
        ("silicone-tin-30a", "plaster-bandage", "urethane-fast", "aluminium-atomised"),
        ("silicone-platinum-20a", "glass-polyester", "polyester", "none"),
        ("silicone-platinum-30a", "printed-plastic", "epoxy", "iron"),
    ):
        mould, cast = a_mould(silicone, shell), a_cast(resin, powder)
        listed = {c.id for c in cautions_for([silicone, shell, resin, powder, mould.release.id])}
        used = {i for step in plan_steps(mould, cast) for i in step.caution_ids}
        assert used <= listed
        chemistry = {
            "urethane-fast": "isocyanate",
            "polyester": "styrene-peroxide",
            "epoxy": "epoxy",
        }
        assert chemistry[resin] in steps_of(mould, cast)["Cast: face coat"].caution_ids
        data = [step.as_json() for step in plan_steps(mould, cast)]
        assert all(len(d["cautions"]) == len(d["caution_ids"]) for d in data)


def test_waits_are_in_order_and_powder_goes_into_the_part_that_is_not_isocyanate() -> None:
    for step in steps_of().values():
        if step.least_min is not None and step.most_min is not None:
            assert 0 <= step.least_min <= step.most_min, step.title
    assert "powder into B, then add A" in steps_of()["Cast: face coat"].do
    assert "next coat" in steps_of()["Cast: face coat"].do
    plain = steps_of(cast=a_cast(powder="none"))["Cast: face coat"].do
    assert "powder" not in plain


def test_a_wall_of_one_coat_speaks_of_no_next_coat() -> None:
    cast = plan_cast(
        show_area_cm2=650,
        good_castings=1,
        resin="epoxy",
        face_coat_mm=2,
        wall_mm=2,
        temperature_c=23,
    )
    face = steps_of(cast=cast)["Cast: face coat"]
    assert len(cast.coats) == 1 and "next coat" not in face.do and face.most_min is None
    assert "next_coat_min" not in cast.as_json()["coats"][0]
    assert cast.as_json()["coats"][0]["demould_min"] == cast.as_json()["demould_min"][1]


def test_a_mould_without_coats_or_pieces_is_refused() -> None:
    with pytest.raises(WorkshopError, match="0 shell pieces"):
        a_mould(pieces=0)
    with pytest.raises(WorkshopError, match="0 coats"):
        replace(a_mould(), coats=())


def items_of(mould: MouldWork, cast: CastPlan, shell_cm3: float = 900) -> dict[str, Item]:
    items = shopping_list(mould, cast, shell_cm3=shell_cm3, thickener=THICKENER)
    return {item.item: item for item in items}


def test_the_shopping_list_sums_the_coats_of_mould_and_edition() -> None:
    mould, cast = a_mould(), a_cast()
    items = items_of(mould, cast)
    silicone = [item for name, item in items.items() if name.startswith("tin-cure silicone")]
    assert sum(i.net for i in silicone) == pytest.approx(900 * 1.10)  # volume x density
    assert sum(i.waste for i in silicone) == pytest.approx(sum(c.waste_g for c in mould.coats))
    edition = [i for n, i in items.items() if n.startswith("rigid urethane") or "bronze" in n]
    assert len(edition) == 3
    assert sum(i.net for i in edition) == pytest.approx(
        9 * sum(c.amounts.mixed_g for c in cast.coats)
    )
    assert sum(i.waste for i in edition) == pytest.approx(9 * sum(c.waste_g for c in cast.coats))
    assert items["bolts with washers and wing nuts"].buy == 8
    assert all(item.buy > 0 for item in items.values())


def test_plain_resin_needs_no_powder_and_a_printed_shell_no_film() -> None:
    items = items_of(a_mould(shell="printed-plastic"), a_cast(powder="none"))
    rubber = [item for name, item in items.items() if name.startswith("tin-cure silicone")]
    # 900 cm3 of skin and 850 cm2 x 1.5 mm of bedding, 1.10 g/cm3
    assert sum(item.net for item in rubber) == pytest.approx((900 + 127.5) * 1.10)
    assert "no powder" not in items and "release film, roll" not in items


def test_a_laminate_is_bought_as_resin_and_mat() -> None:
    """Mat laid by hand, resin to glass 2.5 to 1 by weight, 2.56 and 1.20 g/cm3: 28.6 % glass by
    weight, 1.415 g/cm3; the row says 29 % and 1.41, each rounded to its last figure."""
    row = find_material("glass-polyester", "shell")
    assert row.typical("glass_share") == pytest.approx(100 / 3.5, abs=0.5)
    assert row.typical("density") == pytest.approx(3.5 / (1 / 2.56 + 2.5 / 1.20), abs=0.005)
    items = items_of(a_mould(shell="glass-polyester"), a_cast(), shell_cm3=300)
    mat, resin = (
        items["chopped-strand glass mat"],
        items["laminating polyester resin and its catalyst"],
    )
    assert mat.net + resin.net == pytest.approx(300 * row.typical("density"))


def test_lines_of_the_list_add_up_as_printed() -> None:
    for item in items_of(a_mould(), a_cast()).values():
        line = item.as_json()
        assert line["buy"] == pytest.approx(line["net"] + line["waste"])


def test_the_schedule_is_the_sum_of_the_waits() -> None:
    """Every step before "Close the mould" makes the mould, every one from it on a casting."""
    mould, cast = a_mould(), a_cast()
    steps = plan_steps(mould, cast)
    close = [step.title for step in steps].index("Close the mould")
    found = plan_schedule(mould, cast)
    for (least, most), part in (
        (found.mould_min, steps[:close]),
        (found.casting_min, steps[close:]),
    ):
        assert least == pytest.approx(sum(step.least_min or 0 for step in part))
        assert least < most
    # patch 12-24 h, cure 16-24 h, rest to 48-72 h from the cure's typical 20 h, at 23 C
    assert found.mould_min[0] > (12 + 16 + 28) * 60
    assert found.castings == 9


@pytest.mark.parametrize(
    ("longest_min", "a_day", "days"),
    [(239, 2, 5), (240, 2, 5), (241, 1, 9), (900, 1, 9), (0, 1, 9)],
)
def test_the_edition_takes_whole_castings_a_day(longest_min: float, a_day: int, days: int) -> None:
    """Two castings of 4 h fill a day of 8 h; nine castings at two a day are five days."""
    found = Schedule((0, 0), (0, longest_min), castings=9)
    assert (found.castings_a_day, found.edition_days) == (a_day, days)


def test_an_ordered_shell_comes_off_as_numbered_and_another_in_any_order() -> None:
    ordered = steps_of(replace(a_mould(pieces=3), in_order=True))["Open the mould"].text
    assert "piece 1, then piece 2, then piece 3" in ordered
    free = steps_of(replace(a_mould(pieces=3), in_order=False))["Open the mould"].text
    assert "in any order" in free
    assert "then piece 2" not in free


def test_the_fill_step_names_the_places_and_their_gauges() -> None:
    def fill(places: int, gauges: int) -> str:
        mould = replace(a_mould(), fill_places=places, gauges=gauges)
        return steps_of(mould)["Silicone: fill of undercuts"].text

    assert "Fill places 1 to 4 as the fill guide shows and check with the gauge cards." in fill(
        4, 2
    )
    assert "Fill place 1 as the fill guide shows and check with its gauge card." in fill(1, 1)
    assert "gauge" not in fill(2, 0)
    assert "films and specks" in fill(0, 0)


def test_a_loose_piece_goes_in_before_the_shell_and_comes_out_after_it() -> None:
    for shell, first in (
        ("plaster-bandage", "Shell: lay piece 1 of 2"),
        ("printed-plastic", "Bed"),
    ):
        titles = list(steps_of(replace(a_mould(shell=shell), loose_pieces=1)))
        at = titles.index("Set the loose piece")
        assert titles[at - 1] in ("Silicone: flange and keys", "Silicone: bedding coat")
        assert titles[at + 1].startswith(first)
    steps = steps_of(replace(a_mould(), loose_pieces=2))
    assert steps["Set the loose pieces"].text.startswith("Release them on all sides")
    said = steps["Open the mould"].text
    assert said.index("piece 2") < said.index("draw out the loose pieces") < said.index("Peel")
    assert "loose" not in " ".join(step.text for step in steps_of(a_mould()).values())


def test_printed_parts_are_bolted_before_the_shell_is_tried_on() -> None:
    mould = replace(a_mould(shell="printed-plastic"), joint_bolts=6)
    said = steps_of(mould)["Bed the printed shell"].text
    assert said.startswith("Bolt the printed parts of each cut piece together on their dowels")
    assert "6 bolts" in said
    assert said.index("for good") < said.index("Dry-fit")
