"""How a mix divides into part A, part B and powder, by weight and by volume."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Literal, TypeVar

from firstpull.core.estimate import Estimate
from firstpull.core.figures import told_number
from firstpull.core.material.row import NO_POWDER, MaterialRow

PowderBasis = Literal["bulk volume", "weight"]

Number = TypeVar("Number", float, Estimate)


@dataclass(frozen=True)
class Amounts:
    """One mix by weight and by volume: grams, and millilitres of liquid or of loose powder.

    ``powder_ml`` is the bulk volume of loose powder in level cups, not of the metal in it.

    >>> Amounts(a_g=10, b_g=9, a_ml=8.8, b_ml=8.8).mixed_g
    19.0
    """

    a_g: float
    b_g: float
    a_ml: float
    b_ml: float
    powder_g: float = 0.0
    powder_ml: float = 0.0

    @property
    def mixed_g(self) -> float:
        """All of it in one cup."""
        return float(self.a_g + self.b_g + self.powder_g)

    def scaled(self, factor: float) -> Amounts:
        """The same mix, ``factor`` times as much."""
        return Amounts(**{f.name: getattr(self, f.name) * factor for f in fields(self)})

    def __add__(self, other: Amounts) -> Amounts:
        return Amounts(
            **{f.name: getattr(self, f.name) + getattr(other, f.name) for f in fields(self)}
        )

    def as_json(self) -> dict[str, float]:
        """Amounts to a hundredth of a gram or millilitre."""
        return {f.name: round(getattr(self, f.name), 2) for f in fields(self)}


NOTHING = Amounts(a_g=0.0, b_g=0.0, a_ml=0.0, b_ml=0.0)


def split_parts(row: MaterialRow, mixed_g: float) -> Amounts:
    """Part A and part B of a mix, grams and millilitres.

    The row states grams of B to 100 g of A; volumes follow from the densities of the parts.

    >>> from firstpull.core.material.row import find_material
    >>> parts = split_parts(find_material("urethane-fast", "resin"), 190)
    >>> round(parts.a_g), round(parts.b_g), round(parts.a_ml), round(parts.b_ml)
    (100, 90, 88, 88)
    """
    a_g = mixed_g / (1 + row.typical("b_per_100a") / 100)
    b_g = mixed_g - a_g
    return Amounts(
        a_g=a_g,
        b_g=b_g,
        a_ml=a_g / row.typical("part_a_density"),
        b_ml=b_g / row.typical("part_b_density"),
    )


def liquid_density(row: MaterialRow) -> float:
    """Density of the fresh mix, g/cm3, its parts taken to add their volumes."""
    parts = split_parts(row, 1.0)
    return 1.0 / (parts.a_ml + parts.b_ml)


def film_mass_g(area_cm2: float, thickness_mm: float, density_g_cm3: float) -> float:
    """Grams of a film: area x thickness x density.

    >>> film_mass_g(2000, 3.5, 1.05)
    735.0
    """
    return area_cm2 * thickness_mm / 10 * density_g_cm3


def metal_fraction(
    powder_per_resin: Number, *, resin_density: Number, metal_density: Number
) -> Number:
    """Share of the volume of a set mix that is metal, 0 to 1.

    Args:
        powder_per_resin: grams of powder to a gram of mixed resin.
        resin_density: of the resin alone, g/cm3.
        metal_density: true density of the metal, g/cm3.

    Volumes are taken to add; air left in is not counted.

    >>> round(metal_fraction(3.0, resin_density=1.2, metal_density=8.8), 3)
    0.29
    """
    metal = powder_per_resin * resin_density
    return metal / (metal + metal_density)


def filled_density(
    powder_per_resin: Number, *, resin_density: Number, metal_density: Number
) -> Number:
    """Density of the set mix of resin and metal, g/cm3; arguments as :func:`metal_fraction`."""
    both = powder_per_resin * resin_density * metal_density + resin_density * metal_density
    return both / (powder_per_resin * resin_density + metal_density)


@dataclass(frozen=True)
class PowderDose:
    """How much of a powder goes into a resin.

    Args:
        powder: its row; the row "none" makes every amount 0.
        resin: the resin's row.
        basis: what the ratio compares: level cups of loose powder with cups of mixed
            resin ("bulk volume"), or grams with grams ("weight").
        ratio: powder to mixed resin on that basis.
        figure: of the powder's row that gave the ratio; empty where the maker did.
    """

    powder: MaterialRow
    resin: MaterialRow
    basis: PowderBasis
    ratio: float
    figure: str = ""

    @property
    def is_plain(self) -> bool:
        """Whether there is no powder in it."""
        return self.powder.id == NO_POWDER or self.ratio == 0

    @property
    def grams_per_gram(self) -> float:
        """Grams of powder to a gram of mixed resin."""
        if self.is_plain:
            return 0.0
        if self.basis == "weight":
            return self.ratio
        return self.ratio * self.powder.typical("bulk_density") / liquid_density(self.resin)

    @property
    def metal_fraction(self) -> float:
        """Share of the set mix's volume that is metal."""
        if self.is_plain:
            return 0.0
        return metal_fraction(
            self.grams_per_gram,
            resin_density=self.resin.typical("density"),
            metal_density=self.powder.typical("true_density"),
        )

    @property
    def density(self) -> float:
        """Of the set mix, g/cm3."""
        if self.is_plain:
            return self.resin.typical("density")
        return filled_density(
            self.grams_per_gram,
            resin_density=self.resin.typical("density"),
            metal_density=self.powder.typical("true_density"),
        )

    def density_estimate(self) -> Estimate:
        """Density of the set mix with the spread of its rows; level cups vary with the powder."""
        resin = self.resin.estimate("density")
        if self.is_plain:
            return resin
        ratio = Estimate.exact(self.grams_per_gram)
        if self.basis == "bulk volume":
            bulk = self.powder.estimate("bulk_density")
            ratio = ratio * bulk / self.powder.typical("bulk_density")
        metal = self.powder.estimate("true_density")
        return filled_density(ratio, resin_density=resin, metal_density=metal)

    def amounts(self, mixed_g: float) -> Amounts:
        """A cup of ``mixed_g`` grams, powder included."""
        per_gram = self.grams_per_gram
        parts = split_parts(self.resin, mixed_g / (1 + per_gram))
        if self.is_plain:
            return parts
        powder_g = mixed_g - parts.a_g - parts.b_g
        return Amounts(
            a_g=parts.a_g,
            b_g=parts.b_g,
            a_ml=parts.a_ml,
            b_ml=parts.b_ml,
            powder_g=powder_g,
            powder_ml=powder_g / self.powder.typical("bulk_density"),
        )

    def sentence(self) -> str:
        """The basis in words, with the same mix on the other basis.

        >>> from firstpull.core.material.row import find_material as find
        >>> bronze, resin = find("bronze-irregular", "powder"), find("urethane-fast", "resin")
        >>> PowderDose(bronze, resin, "weight", 3.0).sentence()
        'powder 3 to 1 of mixed resin by weight, which is 1.12 to 1 by bulk volume (level cups)'
        """
        if self.is_plain:
            return "no powder"
        by_weight = self.grams_per_gram
        bulk = by_weight * liquid_density(self.resin) / self.powder.typical("bulk_density")
        cups = f"{told_number(bulk, 3)} to 1{{}} by bulk volume (level cups)"
        grams = f"{told_number(by_weight, 3)} to 1{{}} by weight"
        first, second = (cups, grams) if self.basis == "bulk volume" else (grams, cups)
        return f"powder {first.format(' of mixed resin')}, which is {second.format('')}"


def dose_of(
    powder: MaterialRow, resin: MaterialRow, *, basis: PowderBasis, ratio: float | None = None
) -> PowderDose:
    """The dose on one basis; where ``ratio`` is None the powder's own row gives it."""
    if ratio is not None:
        return PowderDose(powder, resin, basis, ratio)
    if powder.id == NO_POWDER:
        return PowderDose(powder, resin, basis, 0.0)
    name = "ratio_bulk" if basis == "bulk volume" else "ratio_weight"
    return PowderDose(powder, resin, basis, powder.typical(name), figure=name)
