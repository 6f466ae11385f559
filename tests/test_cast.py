"""The casting plan: sums, bases, castings, spread."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.core.cast.castings import castings_for
from firstpull.core.cast.plan import BadCoats, CastPlan, plan_cast
from firstpull.core.errors import WorkshopError
from firstpull.core.material.batch import PotLifeTooShort
from firstpull.core.material.mix import dose_of, film_mass_g
from firstpull.core.material.row import UnknownMaterial, find_material, material_rows, materials_of

RESINS = [row.id for row in materials_of("resin")]
POWDERS = [row.id for row in materials_of("powder")]


def a_plan(**changes: Any) -> CastPlan:
    given: dict[str, Any] = {
        "show_area_cm2": 650,
        "good_castings": 6,
        "resin": "urethane-medium",
        "powder": "bronze-irregular",
    }
    return plan_cast(**{**given, **changes})


@pytest.mark.parametrize(("good", "total"), [(1, 4), (2, 5), (6, 9), (12, 16), (40, 48)])
def test_good_castings_need_more_castings(good: int, total: int) -> None:
    """Common practice: six good are about nine cast; 12.5 % rejects, a cleaner and a backup."""
    castings = castings_for(good)
    assert castings.total == total
    expected_good = (castings.total - castings.cleaner) * (1 - 0.125)
    assert expected_good >= good + castings.backup - 1e-9


def test_no_castings_is_refused() -> None:
    with pytest.raises(WorkshopError, match="asks for 0 good castings"):
        castings_for(0)


@settings(max_examples=60, deadline=None)
@given(
    area=st.floats(20, 6000),
    wall=st.floats(1, 8),
    share=st.floats(0.1, 1),
    resin=st.sampled_from(RESINS),
    powder=st.sampled_from(POWDERS),
    basis=st.sampled_from(["bulk volume", "weight"]),
)
def test_coats_add_to_the_wall_and_batches_to_coats_and_waste(
    area: float, wall: float, share: float, resin: str, powder: str, basis: str
) -> None:
    plan = a_plan(
        show_area_cm2=area,
        wall_mm=wall,
        face_coat_mm=wall * share,
        resin=resin,
        powder=powder,
        basis=basis,
    )
    assert sum(coat.thickness_mm for coat in plan.coats) == pytest.approx(wall)
    for coat in plan.coats:
        mixed = sum(batch.amounts.mixed_g for batch in coat.batches)
        assert mixed == pytest.approx(coat.amounts.mixed_g + coat.waste_g)
        assert coat.waste_g > 0
        assert sum(b.area_cm2 or 0 for b in coat.batches) == pytest.approx(area)
        each = coat.batches[0].amounts
        assert each.b_g / each.a_g == pytest.approx(coat.amounts.b_g / coat.amounts.a_g)


@pytest.mark.parametrize("powder", [p for p in POWDERS if p != "none"])
@pytest.mark.parametrize("resin", RESINS)
def test_weight_and_volume_agree_through_the_densities(resin: str, powder: str) -> None:
    """Level cups at 1 to 1 and the same mix stated by weight are one mix."""
    rows = find_material(powder, "powder"), find_material(resin, "resin")
    cups = dose_of(*rows, basis="bulk volume")
    weighed = dose_of(*rows, basis="weight", ratio=cups.grams_per_gram)
    assert weighed.amounts(100) == cups.amounts(100)
    mix = cups.amounts(100)
    assert mix.powder_ml == pytest.approx(mix.a_ml + mix.b_ml)  # a level cup to a cup of resin
    assert mix.mixed_g == pytest.approx(100)
    for grams, millilitres, figure in (
        (mix.a_g, mix.a_ml, "part_a_density"),
        (mix.b_g, mix.b_ml, "part_b_density"),
    ):
        assert grams / millilitres == pytest.approx(rows[1].typical(figure))


@pytest.mark.parametrize("powder", ["bronze-irregular", "copper", "nickel-silver"])
def test_both_rules_of_practice_give_nearly_the_same_metal(powder: str) -> None:
    """Handbook page and moulders' guide: 1 to 1 by bulk gives 0.20-0.31 metal by volume, 3 to 1
    by weight about 0.29 (for resin 1.2 and metal 8.8; lighter resin 0.26-0.27)."""
    resin = find_material("urethane-medium", "resin")
    row = find_material(powder, "powder")
    assert 0.20 <= dose_of(row, resin, basis="bulk volume").metal_fraction <= 0.31
    assert 0.26 <= dose_of(row, resin, basis="weight").metal_fraction <= 0.29


def test_a_metal_face_coat_is_as_thick_as_its_grams_say() -> None:
    """Moulders' guide: 6 g of resin (1.2) with 18 g of copper alloy (8.8) on 1 dm2 is 0.705 mm.

    With polyester at 1.20 and bronze at 8.78: the same to 0.1 %.
    """
    dose = dose_of(
        find_material("bronze-irregular", "powder"),
        find_material("polyester", "resin"),
        basis="weight",
    )
    thickness_mm = 24 / film_mass_g(100, 1.0, dose.density)
    assert thickness_mm == pytest.approx(0.705, rel=0.01)


def test_a_plain_wall_weighs_area_times_thickness_times_density() -> None:
    """Closed form, 20 dm2 x 3.5 mm x 1.05 = 735 g, carried over to the row's 1.08."""
    plan = a_plan(show_area_cm2=2000, powder="none", wall_mm=3.5)
    net = sum(coat.amounts.mixed_g for coat in plan.coats)
    assert net == pytest.approx(735 * 1.08 / 1.05, rel=1e-9)


def test_the_band_to_be_trimmed_costs_resin_but_does_not_weigh() -> None:
    plain, banded = a_plan(), a_plan(trim_area_cm2=65)
    assert np.array_equal(plain.pull_mass.draws, banded.pull_mass.draws)
    for one, other in zip(plain.coats, banded.coats, strict=True):
        assert other.amounts.mixed_g == pytest.approx(1.1 * one.amounts.mixed_g)
    net = sum(coat.amounts.mixed_g for coat in plain.coats)
    assert (plain.trimmed_g, banded.trimmed_g) == (0, pytest.approx(0.1 * net))


def test_the_spread_of_the_pull_is_that_of_its_rows() -> None:
    """A plain wall: draws of thickness times draws of density, nothing else."""
    plan = a_plan(powder="none")
    ratio = material_rows()["slush-casting"].estimate("thickness_ratio").draws
    density = find_material("urethane-medium", "resin").estimate("density").draws
    assert np.allclose(plan.pull_mass.draws, 650 * 0.35 * ratio * density)
    assert plan.pull_mass.p10 < plan.pull_mass.p50 < plan.pull_mass.p90


def test_a_cup_of_powder_varies_more_than_a_weighed_one() -> None:
    cups, weighed = a_plan(), a_plan(basis="weight")
    spread = [
        (p.coats[0].mass.p90 - p.coats[0].mass.p10) / p.coats[0].mass.p50 for p in (cups, weighed)
    ]
    assert spread[0] > spread[1]


def test_batches_stay_within_pot_life_and_hands() -> None:
    """Each batch covers no more than the speed of hands times the minutes left after stirring."""
    for resin in RESINS:
        plan = a_plan(show_area_cm2=2300, resin=resin)
        for coat, rate in zip(plan.coats, [60, 250, 250, 250], strict=True):
            for batch in coat.batches:
                assert batch.area_cm2 is not None
                assert batch.area_cm2 <= rate * (batch.pot_life_min - 1.5) + 1e-6


def test_warmth_shortens_pot_life_and_multiplies_batches() -> None:
    cool, warm = a_plan(temperature_c=18), a_plan(temperature_c=27)
    assert cool.coats[0].batches[0].pot_life_min > warm.coats[0].batches[0].pot_life_min
    assert len(cool.coats[0].batches) < len(warm.coats[0].batches)


def test_a_resin_that_sets_while_stirred_is_refused() -> None:
    with pytest.raises(PotLifeTooShort, match="slower grade"):
        a_plan(resin="urethane-fast", temperature_c=35)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"face_coat_mm": 4.0}, "face coat"),
        ({"face_coat_mm": 0.0}, "face coat"),
        ({"show_area_cm2": 0.0}, "show surface"),
        ({"show_area_cm2": float("nan")}, "show surface"),
    ],
)
def test_coats_that_cannot_be_are_refused(change: dict[str, float], words: str) -> None:
    with pytest.raises(BadCoats, match=words):
        a_plan(**change)
    with pytest.raises(UnknownMaterial):
        a_plan(resin="porridge")


def test_plain_data_has_what_the_plan_file_promises() -> None:
    data = a_plan().as_json()
    assert {"coats", "castings", "pull_mass_g"} <= set(data)
    assert set(data["pull_mass_g"]) == {"p10", "p50", "p90"}
    assert data["castings"] == 9
    for coat in data["coats"]:
        promised = {
            "name",
            "area_cm2",
            "thickness_mm",
            "a_g",
            "b_g",
            "powder_g",
            "basis",
            "batches",
        }
        assert promised <= set(coat)
        assert all(
            {"a_g", "b_g", "powder_g", "mixed_g", "pot_life_min"} <= set(b) for b in coat["batches"]
        )
    assert (
        "by bulk volume" in data["coats"][0]["basis"] and "by weight" in data["coats"][0]["basis"]
    )
    why = data["coats"][0]["why"]
    assert why["formula"] and {"source", "mark", "unit", "low", "high"} <= set(why["rows"][0])


def test_small_cups_get_advice_and_large_ones_none() -> None:
    """200 cm2 of 0.87 mm at 1.08 g/cm3 and 22 % waste are 23 g; build logs want 90 g."""
    small = a_plan(show_area_cm2=200)
    assert small.findings == () and "23 g of resin" in small.note and "twice" in small.note
    assert a_plan(show_area_cm2=200, resin="epoxy").note == ""
    assert small.as_json()["note"] == small.note


def test_a_coat_of_several_cups_says_why() -> None:
    for coat in a_plan(show_area_cm2=900).coats:
        assert (len(coat.batches) > 1) == ("within a pot life" in coat.note), coat.name


def test_findings_speak_of_stiff_mixes_and_heavy_pulls() -> None:
    stiff = a_plan(powder="iron", basis="weight", powder_ratio=8, resin="epoxy")
    assert [f.kind for f in stiff.findings] == ["stiff face coat"]
    heavy = a_plan(show_area_cm2=4000, resin="epoxy")
    assert [f.kind for f in heavy.findings] == ["heavy pull"]
