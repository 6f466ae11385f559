"""Material rows against handbooks, published formulas and each other."""

from __future__ import annotations

import math

import numpy as np
import periodictable
import pydantic
import pytest

from firstpull.core.estimate import DRAWS
from firstpull.core.material.cure import activation_from_halving, time_factor
from firstpull.core.material.figure import Figure
from firstpull.core.material.mix import film_mass_g, liquid_density, metal_fraction
from firstpull.core.material.room import room_findings
from firstpull.core.material.row import (
    MaterialRow,
    UnknownMaterial,
    find_material,
    material_rows,
    materials_of,
)

ROWS = list(material_rows().values())
TWO_PART = [row for row in ROWS if row.parts]
DUTY = {
    "silicone": {"silicone-tin-25a", "silicone-tin-30a"}
    | {"silicone-platinum-20a", "silicone-platinum-30a"},
    "resin": {"urethane-fast", "urethane-slow", "polyester", "epoxy"},
    "powder": {"bronze-irregular", "bronze-fine", "copper", "aluminium-atomised", "iron"}
    | {"nickel-silver", "none"},
    "shell": {"plaster-bandage", "glass-polyester", "urethane-paste", "printed-plastic"},
}


@pytest.mark.parametrize("kind", DUTY)
def test_the_shelf_holds_every_class_a_job_may_name(kind: str) -> None:
    assert {row.id for row in materials_of(kind)} >= DUTY[kind]  # type: ignore[arg-type]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.id)
def test_draws_of_a_figure_have_its_low_and_high_as_5th_and_95th_percentile(
    row: MaterialRow,
) -> None:
    """Stratified draws put each percentile within one stratum, 1/256 of probability."""
    for name, figure in row.figures.items():
        draws = np.sort(row.estimate(name).draws)
        for share, value in ((0.05, figure.low), (0.95, figure.high)):
            below, above = math.floor(share * DRAWS) - 1, math.ceil(share * DRAWS)
            slack = 1e-12 * abs(value)
            assert draws[below] - slack <= value <= draws[above] + slack, (row.id, name)


def test_a_row_moves_together_wherever_it_is_used_and_rows_move_apart() -> None:
    tin = find_material("silicone-tin-30a", "silicone")
    other = find_material("silicone-platinum-30a", "silicone").estimate("density").draws
    again = find_material("silicone-tin-30a", "silicone").estimate("density").draws
    assert np.array_equal(tin.estimate("density").draws, again)
    # independent ranks: correlation below 4 standard errors of 1/sqrt(n)
    assert abs(np.corrcoef(again, other)[0, 1]) < 4 / math.sqrt(DRAWS)


@pytest.mark.parametrize(
    ("powder", "shares"),
    [
        ("copper", {"Cu": 1.0}),
        ("iron", {"Fe": 1.0}),
        ("aluminium-atomised", {"Al": 1.0}),
        ("bronze-irregular", {"Cu": 0.9, "Sn": 0.1}),
        ("bronze-fine", {"Cu": 0.9, "Sn": 0.1}),
        ("nickel-silver", {"Cu": 0.65, "Ni": 0.18, "Zn": 0.17}),
    ],
)
def test_metal_densities_agree_with_the_elements(powder: str, shares: dict[str, float]) -> None:
    """Elements: periodictable's handbook densities; alloys depart from ideal mixing by < 2.5 %."""
    ideal = 1 / sum(w / getattr(periodictable, e).density for e, w in shares.items())
    within = 0.002 if len(shares) == 1 else 0.025
    row = find_material(powder, "powder")
    assert row.typical("true_density") == pytest.approx(ideal, rel=within)


@pytest.mark.parametrize(
    "row", [r for r in materials_of("powder") if r.figures], ids=lambda r: r.id
)
def test_loose_powder_is_lighter_than_its_metal(row: MaterialRow) -> None:
    """Nothing irregular packs closer than spheres poured at random, 0.64 of the volume."""
    assert row["bulk_density"].high < 0.64 * row["true_density"].low


@pytest.mark.parametrize("row", TWO_PART, ids=lambda row: row.id)
def test_parts_mix_to_the_density_of_the_mix_and_shrink_no_more_than_known(
    row: MaterialRow,
) -> None:
    """By volume: rubber and urethane a few per cent, polyester up to 13 % (composites answers)."""
    shrink = 1 - liquid_density(row) / row.typical("density")
    assert -0.01 < shrink < (0.13 if row.id == "polyester" else 0.04)


@pytest.mark.parametrize("row", materials_of("resin")[:3], ids=lambda row: row.id)
def test_equal_volumes_of_urethane_weigh_100_to_90(row: MaterialRow) -> None:
    """Data sheets of the class: 1:1 by volume is 100A:90B by weight, density ratio 1.111."""
    ratio = row.typical("part_a_density") / row.typical("part_b_density")
    assert ratio == pytest.approx(100 / 90, rel=0.001)
    assert row.typical("b_per_100a") == 90


def test_silicone_used_on_a_mask_matches_a_build_log() -> None:
    """Build log: 907.185 g (2 lb) at 1.14 g/cm3 lie 9.525 mm (3/8 in) thick on 8.355 dm2."""
    assert film_mass_g(835.5, 9.525, 1.14) == pytest.approx(907.185, rel=0.005)


def test_tin_silicone_takes_88_g_per_dm2_at_8_mm() -> None:
    """Derived from the class density of 1.10 g/cm3, no waste."""
    row = find_material("silicone-tin-30a", "silicone")
    assert film_mass_g(100, 8, row.typical("density")) == pytest.approx(88.0, rel=0.001)


def test_a_wall_of_resin_weighs_area_times_thickness_times_density() -> None:
    """20 dm2, 3.5 mm, 1.05 g/cm3: 735 g (closed form)."""
    assert film_mass_g(2000, 3.5, 1.05) == pytest.approx(735, rel=0.001)


def test_halving_from_23_to_33_c_is_an_activation_energy_of_52_kj() -> None:
    """Arrhenius; 52.3 kJ/mol."""
    assert activation_from_halving(10) == pytest.approx(52.3, rel=0.005)
    # and each kind's row says so: the factor over 10 C is 2 within the row's rounding
    row = find_material("silicone-tin-30a", "silicone")
    energy = row.typical("activation_energy")
    assert time_factor(33, activation_kj_mol=energy) == pytest.approx(0.5, abs=0.003)


@pytest.mark.parametrize(("celsius", "factor"), [(18, 1.52), (20, 1.28), (30, 0.57), (23, 1.0)])
def test_urethane_times_follow_arrhenius(celsius: float, factor: float) -> None:
    """60 kJ/mol against 23 C: 1.52 at 18, 1.28 at 20, 0.57 at 30 (table of two figures)."""
    row = find_material("urethane-medium", "resin")
    found = time_factor(celsius, activation_kj_mol=row.typical("activation_energy"))
    assert found == pytest.approx(factor, abs=0.006)


@pytest.mark.parametrize(
    ("powder_per_resin", "resin", "metal", "share"),
    [
        (3.0, 1.2, 8.8, 0.290),  # copper alloy 3 to 1 by weight: moulders' guide
        (1.0 / (1.5 * 1.08), 1.08, 2.70, 0.198),  # 3/4 B : 1 aluminium (bulk 1.0) : 3/4 A
        (1.0 / (0.75 * 1.08), 1.08, 2.70, 0.331),  # the same before A goes in
    ],
)
def test_metal_share_agrees_with_workshop_rules(
    powder_per_resin: float, resin: float, metal: float, share: float
) -> None:
    found = metal_fraction(powder_per_resin, resin_density=resin, metal_density=metal)
    assert found == pytest.approx(share, rel=0.01)


def test_an_unknown_material_is_refused_with_the_ids_there_are() -> None:
    with pytest.raises(UnknownMaterial) as refusal:
        find_material("rubber", "silicone")
    assert "silicone-tin-25a" in str(refusal.value) and '"rubber"' in str(refusal.value)
    with pytest.raises(UnknownMaterial, match="that is a powder"):
        find_material("copper", "resin")


@pytest.mark.parametrize(
    "broken",
    [
        {"low": 2, "typical": 1, "high": 3},
        {"low": 1, "typical": 2, "high": float("nan")},
        {"mark": "published"},
        {"mark": "rumour"},
        {"colour": "red"},
    ],
)
def test_a_broken_figure_is_refused_at_load(broken: dict[str, object]) -> None:
    good = {"low": 1, "typical": 2, "high": 3, "unit": "mm", "mark": "from memory"}
    Figure(**good)  # type: ignore[arg-type]
    with pytest.raises(pydantic.ValidationError):
        Figure(**{**good, **broken})  # type: ignore[arg-type]


def test_a_row_without_a_needed_figure_is_refused_at_load() -> None:
    with pytest.raises(pydantic.ValidationError, match="lacks density"):
        MaterialRow(id="putty", name="putty", kind="clay", figures={"waste": _figure()})


def test_rows_name_no_capital_letter_names_outside_codes() -> None:
    """Classes, not products: the only capitals in names are Shore, A and plastics' codes."""
    allowed = {"Shore", "ABS", "PLA"}
    for row in ROWS:
        words = row.name.replace(",", " ").split()
        named = [w for w in words if w[0].isupper() and w not in allowed]
        assert named == [], row.id


def test_a_suitable_room_has_no_findings_and_others_do() -> None:
    resin = find_material("urethane-medium", "resin")
    rubber = find_material("silicone-tin-30a", "silicone")
    assert room_findings(resin, temperature_c=21, humidity_pct=50) == ()
    assert [f.kind for f in room_findings(resin, temperature_c=28, humidity_pct=55)] == [
        "room too warm",
        "room too damp",
    ]
    assert room_findings(rubber, temperature_c=21, humidity_pct=90) == ()


def _figure() -> Figure:
    return Figure(low=1, typical=2, high=3, unit="mm", mark="from memory")
