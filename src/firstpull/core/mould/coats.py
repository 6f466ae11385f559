"""The silicone coats: which, how thick, how many grams, in how many cups, when the next."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Any

from firstpull.core.errors import WorkshopError
from firstpull.core.estimate import Estimate
from firstpull.core.material.batch import Batch, plan_batches, sum_of, time_at, working_time
from firstpull.core.material.mix import Amounts, liquid_density, split_parts
from firstpull.core.material.row import MaterialRow, material_rows
from firstpull.core.material.why import RowUsed, Why


class BadSkin(WorkshopError):
    """Area, volume and thickness of the skin do not go together."""

    code = "bad_skin"


BEDDING_COAT = "bedding coat"


@dataclass(frozen=True)
class SkinCoat:
    """One coat or filling of silicone.

    Args:
        name: "print coat", "fill of undercuts", "thickened coat 1", "flange and keys",
            "bedding coat".
        area_cm2, thickness_mm: of a coat; None for a filling.
        volume_cm3: of silicone; the coats sum to the skin's volume, but for the bedding coat,
            which fills the gap between skin and shell and is no part of the skin.
        amounts: part A (base) and part B (catalyst) of that volume, waste not in it.
        thickener_g: stirred into it besides; 0 in the print coat.
        batches: what to mix, waste included.
        basis: how the mixing ratio is stated.
        next_from_min, next_until_min: from the first stir, when the next coat goes on; the
            late limit is soft, clean rubber of the same chemistry still bonds.
        why: where the amounts come from.
    """

    name: str
    area_cm2: float | None
    thickness_mm: float | None
    volume_cm3: float
    amounts: Amounts
    thickener_g: float
    batches: tuple[Batch, ...]
    basis: str
    next_from_min: float
    next_until_min: float
    why: Why

    @property
    def waste_g(self) -> float:
        """Left in cups and brushes."""
        return sum_of(self.batches).mixed_g - self.amounts.mixed_g

    def as_json(self) -> dict[str, Any]:
        """The coat as plain data."""
        return {
            "name": self.name,
            "area_cm2": None if self.area_cm2 is None else round(self.area_cm2, 1),
            "thickness_mm": None if self.thickness_mm is None else round(self.thickness_mm, 2),
            "volume_cm3": round(self.volume_cm3, 2),
            **{k: v for k, v in self.amounts.as_json().items() if not k.startswith("powder")},
            "thickener_g": round(self.thickener_g, 2),
            "basis": self.basis,
            "waste_g": round(self.waste_g, 2),
            "next_coat_min": [round(self.next_from_min), round(self.next_until_min)],
            "batches": [
                {k: v for k, v in batch.as_json().items() if not k.startswith("powder")}
                for batch in self.batches
            ],
            "why": self.why.as_json(),
        }


def plan_skin_coats(
    *,
    area_cm2: float,
    volume_cm3: float,
    fill_cm3: float,
    thickness_mm: float,
    row: MaterialRow,
    temperature_c: float,
    bedding_mm: float = 0.0,
    thickener: MaterialRow | None = None,
    practice: MaterialRow | None = None,
) -> tuple[SkinCoat, ...]:
    """The skin divided into a print coat, fill, thickened coats, and flange with keys.

    A printed shell is bedded on one coat more.

    Args:
        area_cm2: of body under the skin, the show surface and the bank below it.
        volume_cm3: of the whole skin: flange, fill and keys are in it.
        fill_cm3: of silicone that closes undercuts.
        thickness_mm: of the even layer.
        row: the silicone.
        temperature_c: of the shop.
        bedding_mm: gap to a printed shell, filled when it is set on; 0 where it is not.
        thickener: row of what makes coats after the first hang; None takes "thickener-liquid".
        practice: how thick and fast coats are brushed; None takes "brushed-skin".

    Returns:
        Coats in the order they go on; their volumes sum to ``volume_cm3``, the bedding coat
        not counted. What is neither even layer nor fill is "flange and keys", with the growth
        of outer coats around a rounded body. Where the even layer does not fit into the
        volume, its coats shrink alike and there is no such entry. The bedding coat comes last.

    Raises:
        BadSkin: a size is not above 0, or the fill is larger than the skin.
        PotLifeTooShort: the silicone sets before it can be laid.
    """
    _check(area_cm2, volume_cm3=volume_cm3, fill_cm3=fill_cm3, thickness_mm=thickness_mm)
    practice = practice or material_rows()["brushed-skin"]
    thickener = thickener or material_rows()["thickener-liquid"]
    even_cm3 = min(area_cm2 * thickness_mm / 10, volume_cm3 - fill_cm3)
    layers_mm = layer_thicknesses(thickness_mm, practice)
    share = even_cm3 / (area_cm2 * thickness_mm / 10)
    lay = partial(
        _coat,
        row=row,
        practice=practice,
        temperature_c=temperature_c,
    )
    dose = thickener.typical("dose") / 100
    coats = [lay("print coat", area_cm2=area_cm2, thickness_mm=layers_mm[0] * share)]
    if fill_cm3 > 0:
        coats.append(lay("fill of undercuts", volume_cm3=fill_cm3, thickener=dose))
    for number, layer_mm in enumerate(layers_mm[1:], start=1):
        name = f"thickened coat {number}"
        coats.append(lay(name, area_cm2=area_cm2, thickness_mm=layer_mm * share, thickener=dose))
    rest_cm3 = volume_cm3 - fill_cm3 - even_cm3
    if rest_cm3 > 1e-9 * volume_cm3:
        coats.append(lay("flange and keys", volume_cm3=rest_cm3, thickener=dose))
    if bedding_mm > 0:
        coats.append(lay(BEDDING_COAT, area_cm2=area_cm2, thickness_mm=bedding_mm))
    return tuple(coats)


def layer_thicknesses(thickness_mm: float, practice: MaterialRow) -> tuple[float, ...]:
    """The even layer as coats, in mm: a thin print coat, then equal thickened ones.

    >>> layer_thicknesses(6.0, material_rows()["brushed-skin"])
    (0.75, 1.75, 1.75, 1.75)
    """
    first = min(practice.typical("print_coat"), thickness_mm)
    rest = thickness_mm - first
    if rest <= 0:
        return (first,)
    count = max(1, round(rest / practice.typical("thickened_coat")))
    return (first, *([rest / count] * count))


def skin_mass(
    *,
    area_cm2: float,
    volume_cm3: float,
    thickness_mm: float,
    row: MaterialRow,
    practice: MaterialRow | None = None,
) -> Estimate:
    """Grams of the finished skin, with the spread of density and of brushed thickness.

    A thickness that comes out otherwise than meant changes the volume by area x difference.

    Args: as :func:`plan_skin_coats`.
    """
    practice = practice or material_rows()["brushed-skin"]
    more_mm = practice.estimate("thickness_ratio") * thickness_mm - thickness_mm
    volume = more_mm * (area_cm2 / 10) + volume_cm3
    return volume * row.estimate("density")


def skin_mass_why(
    *,
    area_cm2: float,
    volume_cm3: float,
    thickness_mm: float,
    row: MaterialRow,
    practice: MaterialRow | None = None,
) -> Why:
    """Where the mass of :func:`skin_mass` comes from; the same arguments."""
    practice = practice or material_rows()["brushed-skin"]
    inputs = (
        ("area_cm2", round(area_cm2, 1)),
        ("volume_cm3", round(volume_cm3, 1)),
        ("thickness_mm", thickness_mm),
    )
    return Why(
        "(volume + area x (thickness put on - thickness meant)) x density; both drawn",
        inputs,
        (RowUsed(row, "density"), RowUsed(practice, "thickness_ratio")),
    )


def _coat(
    name: str,
    *,
    area_cm2: float | None = None,
    thickness_mm: float | None = None,
    volume_cm3: float = 0.0,
    thickener: float = 0.0,
    row: MaterialRow,
    practice: MaterialRow,
    temperature_c: float,
) -> SkinCoat:
    laying = working_time(row, temperature_c=temperature_c, stir_min=practice.typical("stir"))
    if area_cm2 is not None and thickness_mm is not None:
        rate, extent = "brush_rate", area_cm2
        volume_cm3 = area_cm2 * thickness_mm / 10
    else:
        rate, extent = "placing_rate", volume_cm3
    net_g = volume_cm3 * row.typical("density")
    batches = plan_batches(
        row,
        net_g=net_g,
        area_cm2=area_cm2,
        reach=practice.typical(rate) * laying,
        extent=extent,
        mix=partial(split_parts, row),
        temperature_c=temperature_c,
    )
    pot_min = time_at(row, "pot_life", temperature_c)
    a_name, b_name = row.parts or ("A", "B")
    return SkinCoat(
        name=name,
        area_cm2=area_cm2,
        thickness_mm=thickness_mm,
        volume_cm3=volume_cm3,
        amounts=split_parts(row, net_g),
        thickener_g=thickener * sum_of(batches).mixed_g,
        batches=batches,
        basis=f"{row.typical('b_per_100a'):g} g of {b_name} to 100 g of {a_name}, by weight; "
        "millilitres through the densities of the parts",
        next_from_min=row.typical("recoat_from") * pot_min,
        next_until_min=max(
            row.typical("recoat_until") * time_at(row, "demould", temperature_c),
            row.typical("recoat_from") * pot_min,
        ),
        why=_why(row, practice=practice, rate=rate, volume_cm3=volume_cm3, laying=laying),
    )


def _why(
    row: MaterialRow, *, practice: MaterialRow, rate: str, volume_cm3: float, laying: float
) -> Why:
    mixed = ("density", "b_per_100a", "part_a_density", "part_b_density")
    names = (*mixed, "pot_life", "activation_energy")
    return Why(
        "grams = volume x density; volume = area x thickness for a coat; "
        "batches = what there is to lay / (speed of hands x minutes to lay), rounded up",
        (
            ("volume_cm3", round(volume_cm3, 2)),
            ("minutes to lay a batch", round(laying, 1)),
            ("liquid density_g_cm3", round(liquid_density(row), 3)),
        ),
        (
            *(RowUsed(row, name) for name in names),
            *(RowUsed(practice, name) for name in (rate, "stir")),
        ),
    )


def _check(area_cm2: float, *, volume_cm3: float, fill_cm3: float, thickness_mm: float) -> None:
    sizes = (
        ("area", area_cm2, "cm²"),
        ("volume", volume_cm3, "cm³"),
        ("thickness", thickness_mm, "mm"),
    )
    for what, value, unit in sizes:
        if not value > 0:
            raise BadSkin(
                where="The skin",
                found=f"has {what} {value:g} {unit}",
                limit="it must be above 0",
                remedy="Check the body and the skin thickness.",
            )
    if not 0 <= fill_cm3 < volume_cm3:
        raise BadSkin(
            where="The skin",
            found=f"of {volume_cm3:g} cm³ is said to hold {fill_cm3:g} cm³ of fill",
            limit="the fill is part of the skin's volume",
            remedy="Measure both from the same solids.",
        )
