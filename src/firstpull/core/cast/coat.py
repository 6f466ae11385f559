"""One coat of resin in the mould: area, thickness, amounts, batches."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from firstpull.core.estimate import Estimate
from firstpull.core.material.batch import Batch, plan_batches, sum_of, time_at, working_time
from firstpull.core.material.mix import Amounts, PowderDose, film_mass_g
from firstpull.core.material.row import MaterialRow
from firstpull.core.material.why import RowUsed, Why


@dataclass(frozen=True)
class CastCoat:
    """A coat of resin, with or without powder, as it is laid for one casting.

    Args:
        name: "face coat", "backing coat 1" and so on.
        area_cm2: all that is coated, the band to be trimmed off included.
        thickness_mm: mean.
        amounts: what ends in the casting; waste is not in it.
        batches: what to mix, waste included; they sum to amounts and waste.
        basis: how the mixing ratios are stated.
        metal_fraction: share of the volume that is metal.
        next_from_min, next_until_min: from the first stir, when the next coat goes on: just as
            this one has set, and before it is hard.
        mass: grams of this coat on the part itself, without the band trimmed off.
        note: why it is divided into several cups, or empty.
        why: where the amounts come from.
    """

    name: str
    area_cm2: float
    thickness_mm: float
    amounts: Amounts
    batches: tuple[Batch, ...]
    basis: str
    metal_fraction: float
    next_from_min: float
    next_until_min: float
    mass: Estimate
    note: str
    why: Why

    @property
    def waste_g(self) -> float:
        """Left in cups and brushes."""
        return sum_of(self.batches).mixed_g - self.amounts.mixed_g

    def as_json(self) -> dict[str, Any]:
        """The coat as plain data."""
        return {
            "name": self.name,
            "area_cm2": round(self.area_cm2, 1),
            "thickness_mm": round(self.thickness_mm, 2),
            **self.amounts.as_json(),
            "basis": self.basis,
            "waste_g": round(self.waste_g, 2),
            "metal_fraction": round(self.metal_fraction, 3),
            "next_coat_min": [round(self.next_from_min), round(self.next_until_min)],
            "batches": [batch.as_json() for batch in self.batches],
            **({"note": self.note} if self.note else {}),
            "why": self.why.as_json(),
        }


@dataclass(frozen=True)
class Layer:
    """A coat as meant, before amounts: its name, thickness, mix and the speed of hands."""

    name: str
    thickness_mm: float
    dose: PowderDose
    rate: str  # figure of the practice row: "brush_rate" or "slush_rate"


def layers_of(
    wall_mm: float, *, face_coat_mm: float, face: PowderDose, plain: PowderDose, row: MaterialRow
) -> tuple[Layer, ...]:
    """The wall divided into a brushed face coat and equal slushed backing coats.

    Each backing coat is at most as thick as the practice row's upper figure for a coat; their
    thicknesses sum to the wall.
    """
    rest_mm = wall_mm - face_coat_mm
    layers = [Layer("face coat", face_coat_mm, face, "brush_rate")]
    count = math.ceil(rest_mm / row["coat"].high - 1e-9)
    for number in range(1, count + 1):
        layers.append(Layer(f"backing coat {number}", rest_mm / count, plain, "slush_rate"))
    return tuple(layers)


def plan_coat(
    layer: Layer,
    *,
    show_area_cm2: float,
    trim_area_cm2: float,
    practice: MaterialRow,
    temperature_c: float,
) -> CastCoat:
    """Amounts and batches of one layer over the show area and the band to be trimmed."""
    dose, resin = layer.dose, layer.dose.resin
    area_cm2 = show_area_cm2 + trim_area_cm2
    net_g = film_mass_g(area_cm2, layer.thickness_mm, dose.density)
    laying = working_time(resin, temperature_c=temperature_c, stir_min=practice.typical("stir"))
    batches = plan_batches(
        resin,
        net_g=net_g,
        area_cm2=area_cm2,
        reach=practice.typical(layer.rate) * laying,
        extent=area_cm2,
        mix=dose.amounts,
        temperature_c=temperature_c,
    )
    thickness = practice.estimate("thickness_ratio") * layer.thickness_mm
    return CastCoat(
        name=layer.name,
        area_cm2=area_cm2,
        thickness_mm=layer.thickness_mm,
        amounts=dose.amounts(net_g),
        batches=batches,
        basis=f"A and B by {resin.mix_basis}, as tins of this class state it; {dose.sentence()}",
        metal_fraction=dose.metal_fraction,
        next_from_min=time_at(resin, "gel", temperature_c),
        next_until_min=time_at(resin, "demould", temperature_c),
        note=_cups_note(layer, len(batches), practice.typical(layer.rate) * laying),
        mass=thickness * (show_area_cm2 / 10) * dose.density_estimate(),
        why=_why(layer, area_cm2=area_cm2, practice=practice, laying=laying),
    )


def _cups_note(layer: Layer, cups: int, reach_cm2: float) -> str:
    if cups < 2:
        return ""
    laid = "brushed" if layer.rate == "brush_rate" else "spread"
    return (
        f"{cups} cups one after the other: within a pot life about {reach_cm2:.0f} cm² are {laid}."
    )


def _why(layer: Layer, *, area_cm2: float, practice: MaterialRow, laying: float) -> Why:
    dose = layer.dose
    rows = [RowUsed(dose.resin, name) for name in ("density", "part_a_density", "part_b_density")]
    rows += [RowUsed(dose.resin, name) for name in ("b_per_100a", "pot_life", "activation_energy")]
    if not dose.is_plain:
        names = ("bulk_density", "true_density", *filter(None, [dose.figure]))
        rows += [RowUsed(dose.powder, name) for name in names]
    rows += [RowUsed(practice, layer.rate), RowUsed(practice, "stir")]
    inputs: tuple[tuple[str, float | str], ...] = (
        ("area_cm2", round(area_cm2, 1)),
        ("thickness_mm", round(layer.thickness_mm, 3)),
        ("mixed density_g_cm3", round(dose.density, 3)),
        ("powder to resin by weight", round(dose.grams_per_gram, 3)),
        ("minutes to lay a batch", round(laying, 1)),
    )
    return Why(
        "grams = area x thickness x density of the set mix; "
        "batches = area / (speed of hands x minutes to lay), rounded up",
        inputs,
        tuple(rows),
    )
