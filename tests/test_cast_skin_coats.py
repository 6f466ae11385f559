"""Silicone coats add up to the skin."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.core.material.row import find_material, material_rows, materials_of
from firstpull.core.mould.coats import BadSkin, SkinCoat, plan_skin_coats, skin_mass, skin_mass_why

RUBBERS = [row.id for row in materials_of("silicone")]


def coats_of(rubber: str = "silicone-tin-30a", **changes: float) -> tuple[SkinCoat, ...]:
    given = {"area_cm2": 850, "volume_cm3": 900, "fill_cm3": 60, "thickness_mm": 6}
    return plan_skin_coats(
        **{**given, "temperature_c": 21, **changes}, row=find_material(rubber, "silicone")
    )


@settings(max_examples=60, deadline=None)
@given(
    rubber=st.sampled_from(RUBBERS),
    area=st.floats(50, 5000),
    thickness=st.floats(0.4, 12),
    more=st.floats(0.5, 3),
    fill=st.floats(0, 0.9),
)
def test_coats_add_to_the_volume_of_the_skin(
    rubber: str, area: float, thickness: float, more: float, fill: float
) -> None:
    volume = area * thickness / 10 * more
    coats = coats_of(
        rubber, area_cm2=area, volume_cm3=volume, fill_cm3=fill * volume, thickness_mm=thickness
    )
    assert sum(coat.volume_cm3 for coat in coats) == pytest.approx(volume, rel=1e-6)
    density = find_material(rubber, "silicone").typical("density")
    assert sum(c.amounts.mixed_g for c in coats) == pytest.approx(volume * density, rel=1e-6)
    fills = [c.volume_cm3 for c in coats if c.name == "fill of undercuts"]
    assert sum(fills) == pytest.approx(fill * volume)
    for coat in coats:
        mixed = sum(batch.amounts.mixed_g for batch in coat.batches)
        assert mixed == pytest.approx(coat.amounts.mixed_g + coat.waste_g)


def test_a_bedding_coat_is_area_times_gap_and_no_part_of_the_skin() -> None:
    """Closed form: 850 cm2 x 1.5 mm = 127.5 cm3."""
    *skin, bedding = coats_of(bedding_mm=1.5)
    assert [c.name for c in skin] == [c.name for c in coats_of()]
    assert sum(c.volume_cm3 for c in skin) == pytest.approx(900)
    assert (bedding.name, bedding.thickener_g) == ("bedding coat", 0.0)
    assert bedding.volume_cm3 == pytest.approx(127.5)


def test_a_6_mm_skin_is_a_thin_print_coat_and_three_thickened_ones() -> None:
    """Common practice: print coat 0.5-1 mm, later coats 1.5-3 mm, 3-5 coats in all."""
    names = [coat.name for coat in coats_of()]
    assert names == [
        "print coat",
        "fill of undercuts",
        "thickened coat 1",
        "thickened coat 2",
        "thickened coat 3",
        "flange and keys",
    ]
    layers = [c.thickness_mm for c in coats_of() if c.thickness_mm is not None]
    assert 0.5 <= layers[0] <= 1.0 and all(1.5 <= layer <= 3.0 for layer in layers[1:])
    assert sum(layers) == pytest.approx(6)


@pytest.mark.parametrize("thickness_mm", [3, 4, 6, 8, 9.5, 12])
def test_no_thickened_coat_is_thicker_than_hangs(thickness_mm: float) -> None:
    coats = coats_of(thickness_mm=thickness_mm, volume_cm3=2000)
    layers = [c.thickness_mm for c in coats if c.thickness_mm is not None]
    assert max(layers[1:]) <= 3.0


def test_the_print_coat_has_no_thickener_and_later_coats_have_1_per_cent() -> None:
    """Sculptor's handbook page: 0.5-1 %."""
    for coat in coats_of():
        mixed = coat.amounts.mixed_g + coat.waste_g
        expected = 0.0 if coat.name == "print coat" else 0.01 * mixed
        assert coat.thickener_g == pytest.approx(expected)


def test_base_and_catalyst_follow_the_row_by_weight_and_by_volume() -> None:
    for rubber in RUBBERS:
        row = find_material(rubber, "silicone")
        for coat in coats_of(rubber):
            mix = coat.amounts
            assert 100 * mix.b_g / mix.a_g == pytest.approx(row.typical("b_per_100a"))
            assert mix.a_g / mix.a_ml == pytest.approx(row.typical("part_a_density"))
            assert "by weight" in coat.basis


def test_batches_can_be_brushed_before_they_set() -> None:
    for coat in coats_of(area_cm2=4000, volume_cm3=4000):
        for batch in coat.batches:
            if batch.area_cm2 is not None:
                assert batch.area_cm2 <= 45 * (batch.pot_life_min - 3) + 1e-6


def test_the_next_coat_waits_for_tack_and_the_late_limit_lies_after_it() -> None:
    """About 1.5 x pot life, 40 % of the demould time; at 23 C for tin: 37.5 and 480 minutes."""
    coat = coats_of(temperature_c=23)[0]
    assert coat.next_from_min == pytest.approx(37.5)
    assert coat.next_until_min == pytest.approx(480)
    for rubber in RUBBERS:
        assert all(c.next_until_min >= c.next_from_min for c in coats_of(rubber))


def test_spread_of_thickness_enters_by_area() -> None:
    """dV/dt = area: doubling the area at one volume doubles the part that thickness adds."""
    row = find_material("silicone-tin-30a", "silicone")
    one, two = (
        skin_mass(area_cm2=area, volume_cm3=900, thickness_mm=6, row=row) for area in (400, 800)
    )
    net = row.estimate("density").draws * 900
    assert np.allclose(two.draws - net, 2 * (one.draws - net))
    ratio = material_rows()["brushed-skin"].estimate("thickness_ratio").draws
    added = 400 * 0.6 * (ratio - 1) * row.estimate("density").draws
    assert np.allclose(one.draws, net + added)


def test_the_mass_of_the_skin_says_why_from_the_rows_it_drew_from() -> None:
    row = find_material("silicone-tin-30a", "silicone")
    why = skin_mass_why(area_cm2=400, volume_cm3=900, thickness_mm=6, row=row).as_json()
    assert [used["row"] for used in why["rows"]] == [
        "silicone-tin-30a: density",
        "brushed-skin: thickness_ratio",
    ]
    assert why["inputs"]["volume_cm3"] == 900


@pytest.mark.parametrize(
    "change", [{"area_cm2": 0}, {"volume_cm3": -1}, {"thickness_mm": 0}, {"fill_cm3": 901}]
)
def test_a_skin_that_cannot_be_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(BadSkin):
        coats_of(**change)
