"""The casting plan: coats, batches, castings to make, mass of the pull."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from firstpull.core.cast.castings import Castings, castings_for
from firstpull.core.cast.coat import CastCoat, Layer, layers_of, plan_coat
from firstpull.core.errors import WorkshopError
from firstpull.core.estimate import Estimate, total
from firstpull.core.material.batch import time_at
from firstpull.core.material.mix import PowderBasis, dose_of
from firstpull.core.material.room import room_findings
from firstpull.core.material.row import NO_POWDER, MaterialRow
from firstpull.core.material.shelf import Shelf, package_shelf
from firstpull.core.material.why import RowUsed, Why
from firstpull.core.mesh.findings import Finding

THICKEST_METAL_SHARE = 0.45
"""Irregular powder packs at 0.50-0.60 of the volume (from memory): near that nothing brushes."""

HEAVY_PULL_G = 1000.0
"""Common practice: a helmet above 1 kg is a burden; a half-mask should stay under 400 g."""


class BadCoats(WorkshopError):
    """The wall and its face coat do not go together."""

    code = "bad_coats"


@dataclass(frozen=True)
class CastPlan:
    """Everything for one casting and the number of castings.

    Args:
        coats: in the order they are laid, amounts for one casting.
        castings: how many to make and why.
        pull_mass: grams of one trimmed casting, without paint and fittings.
        resin, powder, practice: the rows used.
        temperature_c: of room and material.
        trimmed_g: of the mixed resin and powder, what is cut off each casting.
        findings: what to mind about room, mix and weight.
        mass_why: where the mass comes from.
    """

    coats: tuple[CastCoat, ...]
    castings: Castings
    pull_mass: Estimate
    resin: MaterialRow
    powder: MaterialRow
    practice: MaterialRow
    temperature_c: float
    trimmed_g: float
    findings: tuple[Finding, ...]
    mass_why: Why

    @property
    def metal_fraction(self) -> float:
        """Share of the face coat's volume that is metal."""
        return self.coats[0].metal_fraction

    @property
    def note(self) -> str:
        """What to do where cups hold little resin, which makes little heat; else empty."""
        least = self.resin.figures.get("smallest_batch")
        small = [c for c in self.coats if least and _resin_g(c) < least.typical]
        if not least or not small:
            return ""
        held = sorted(_resin_g(c) for c in small)
        cups = " to ".join(dict.fromkeys(f"{g:.0f}" for g in (held[0], held[-1])))
        return (
            f"Small cups ({cups} g of resin) set slowly: warm room, mould and tins, and give each "
            "coat up to twice its wait. With two moulds, mix one cup for both. Prove one cup on "
            "scrap first."
        )

    @property
    def demould_min(self) -> tuple[float, float]:
        """Least and most minutes from the last coat until a thin wall may be pulled."""
        factor = self.practice["thin_wall_demould"]
        stated = time_at(self.resin, "demould", self.temperature_c)
        return stated * factor.low, stated * factor.high

    def as_json(self) -> dict[str, Any]:
        """The plan as plain data; coat amounts are for one casting, waste apart.

        The last coat says when to demould instead of when the next coat follows.
        """
        coats = [coat.as_json() for coat in self.coats]
        del coats[-1]["next_coat_min"]
        coats[-1]["demould_min"] = round(self.demould_min[1])
        return {
            "wall_mm": round(sum(coat.thickness_mm for coat in self.coats), 3),
            "coats": coats,
            "demould_min": [round(minutes) for minutes in self.demould_min],
            "castings": self.castings.total,
            "castings_made_of": self.castings.as_json(),
            "pull_mass_g": self.pull_mass.as_json(),
            "pull_mass_why": self.mass_why.as_json(),
            "metal_fraction": round(self.metal_fraction, 3),
            "waste_g": round(sum(coat.waste_g for coat in self.coats), 2),
            "trimmed_g": round(self.trimmed_g, 2),
            "resin": self.resin.id,
            "powder": self.powder.id,
            "temperature_c": self.temperature_c,
            "findings": [finding.as_json() for finding in self.findings],
            "note": self.note,
        }


def plan_cast(
    *,
    show_area_cm2: float,
    good_castings: int,
    resin: str,
    powder: str = NO_POWDER,
    basis: PowderBasis = "bulk volume",
    powder_ratio: float | None = None,
    face_coat_mm: float = 0.9,
    wall_mm: float = 3.5,
    temperature_c: float = 21.0,
    humidity_pct: float = 50.0,
    trim_area_cm2: float = 0.0,
    shelf: Shelf | None = None,
) -> CastPlan:
    """Coats, amounts and castings for a slush-cast wall over the show surface.

    Args:
        show_area_cm2: area that the mould copies; above 0.
        good_castings: wanted, at least 1.
        resin, powder: ids of material rows; powder goes into the face coat only.
        basis: what the powder ratio compares; both are reported.
        powder_ratio: powder to mixed resin on that basis; None takes the powder's row.
        face_coat_mm: mean thickness of the brushed coat.
        wall_mm: whole wall, face coat included.
        temperature_c, humidity_pct: of the shop.
        trim_area_cm2: band between rim and board: coated, then cut off, so that it costs
            resin but does not weigh on the pull.
        shelf: where the rows stand; None takes the package's.

    Raises:
        UnknownMaterial: an id is not known as a resin or a powder.
        PotLifeTooShort: the resin sets before it can be laid at this temperature.
        BadCoats: face coat not above 0 or thicker than the wall; area not above 0.

    Each coat is reckoned over the same area; in a hollow mould the inner coats cover a little
    less, so the amounts err to the high side by about thickness x mean curvature.

    >>> plan = plan_cast(show_area_cm2=600, good_castings=6, resin="urethane-medium")
    >>> plan.castings.total, len(plan.coats), round(plan.pull_mass.p50)
    (9, 4, 225)
    """
    _check(show_area_cm2, face_coat_mm=face_coat_mm, wall_mm=wall_mm)
    shelf = shelf or package_shelf()
    resin_row, powder_row = shelf.find(resin, "resin"), shelf.find(powder, "powder")
    practice = shelf.find("slush-casting", "practice")
    plain_row = shelf.find(NO_POWDER, "powder")
    layers = layers_of(
        wall_mm,
        face_coat_mm=face_coat_mm,
        face=dose_of(powder_row, resin_row, basis=basis, ratio=powder_ratio),
        plain=dose_of(plain_row, resin_row, basis=basis),
        row=practice,
    )
    coats = tuple(
        plan_coat(
            layer,
            show_area_cm2=show_area_cm2,
            trim_area_cm2=trim_area_cm2,
            practice=practice,
            temperature_c=temperature_c,
        )
        for layer in layers
    )
    mass = total(coat.mass for coat in coats)
    findings = room_findings(resin_row, temperature_c=temperature_c, humidity_pct=humidity_pct)
    return CastPlan(
        coats=coats,
        castings=castings_for(good_castings, practice=practice),
        pull_mass=mass,
        resin=resin_row,
        powder=powder_row,
        practice=practice,
        temperature_c=temperature_c,
        trimmed_g=sum(coat.amounts.mixed_g for coat in coats)
        * (trim_area_cm2 / (show_area_cm2 + trim_area_cm2)),
        findings=findings + _mix_findings(coats, mass),
        mass_why=_mass_why(layers, show_area_cm2, practice),
    )


def _check(area_cm2: float, *, face_coat_mm: float, wall_mm: float) -> None:
    if not area_cm2 > 0:
        raise BadCoats(
            where="The show surface",
            found=f"has an area of {area_cm2:g} cm²",
            limit="an area above 0 is needed to cast anything",
            remedy="Check the mesh and which side shows.",
        )
    if not 0 < face_coat_mm <= wall_mm:
        raise BadCoats(
            where="The face coat",
            found=f"is {face_coat_mm:g} mm in a wall of {wall_mm:g} mm",
            limit="it must be above 0 and no thicker than the wall",
            remedy="Make the wall thicker or the face coat thinner.",
        )


def _mix_findings(coats: tuple[CastCoat, ...], mass: Estimate) -> tuple[Finding, ...]:
    found = []
    if coats[0].metal_fraction > THICKEST_METAL_SHARE:
        found.append(
            Finding(
                "stiff face coat",
                1,
                f"The face coat is {100 * coats[0].metal_fraction:.0f} % metal by volume; "
                f"above {100 * THICKEST_METAL_SHARE:.0f} % it hardly brushes.",
                "Take less powder, and check whether the ratio was by weight or by level cups.",
            )
        )
    if mass.p50 > HEAVY_PULL_G:
        found.append(
            Finding(
                "heavy pull",
                1,
                f"A pull weighs about {mass.p50:.0f} g; worn on the head, "
                f"{HEAVY_PULL_G:.0f} g is the most a helmet should weigh.",
                "Thin the wall or the face coat.",
            )
        )
    return tuple(found)


def _resin_g(coat: CastCoat) -> float:
    """Resin in one cup of the coat; the powder in it makes no heat."""
    amounts = coat.batches[0].amounts
    return amounts.a_g + amounts.b_g


def _mass_why(layers: tuple[Layer, ...], area_cm2: float, practice: MaterialRow) -> Why:
    inputs: list[tuple[str, float | str]] = [("show_area_cm2", round(area_cm2, 1))]
    inputs += [(f"{layer.name}_mm", round(layer.thickness_mm, 3)) for layer in layers]
    face = layers[0].dose
    rows = [RowUsed(practice, "thickness_ratio"), RowUsed(face.resin, "density")]
    if not face.is_plain:
        rows.append(RowUsed(face.powder, "true_density"))
        if face.basis == "bulk volume":
            rows.append(RowUsed(face.powder, "bulk_density"))
            parts = ("part_a_density", "part_b_density", "b_per_100a")  # of the cup they fill
            rows += [RowUsed(face.resin, name) for name in parts]
        if face.figure:
            rows.append(RowUsed(face.powder, face.figure))
    return Why(
        "sum over the coats of show area x thickness x density; thickness and density drawn",
        tuple(inputs),
        tuple(rows),
    )
