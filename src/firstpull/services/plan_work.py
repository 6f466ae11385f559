"""The work of a plan: coats, castings, steps, shopping and cautions for a shaped mould."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstpull.core.cast.plan import CastPlan, plan_cast
from firstpull.core.estimate import Estimate, total
from firstpull.core.hazards.cautions import Caution, cautions_for
from firstpull.core.hazards.stacks import stack_findings
from firstpull.core.material.room import room_findings
from firstpull.core.material.row import MaterialRow
from firstpull.core.material.shelf import Shelf
from firstpull.core.material.why import Why
from firstpull.core.mesh.findings import Finding
from firstpull.core.mould.coats import SkinCoat, plan_skin_coats, skin_mass, skin_mass_why
from firstpull.core.schedule.mould_steps import MouldWork
from firstpull.core.schedule.shopping import Item, shopping_list
from firstpull.core.schedule.step import Step
from firstpull.core.schedule.steps import plan_schedule, plan_steps
from firstpull.core.schedule.totals import Schedule
from firstpull.core.sheet import JobSheet
from firstpull.services.plan_geometry import Geometry

NO_BEDDING_MM = 0.5
"""A gap up to this is slack for the fit of a printed shell, not room for a coat."""

CLAY, RELEASE, THICKENER = "clay-sulphur-free", "release-wax", "thickener-liquid"
BRUSHING = "brushed-skin"


@dataclass(frozen=True)
class Work:
    """What is mixed, done and bought.

    Args:
        silicone, shell: rows of the materials.
        rows: these and every other row that went in.
        coats: of silicone.
        skin_g: the finished skin.
        skin_why: where that comes from.
        pieces_g: each shell piece.
        cast: the castings.
        steps, shopping, cautions: in order.
        schedule: how long it takes; ``as_json`` gives the plan's key "schedule".
        remarks: what to mind about room and materials.
    """

    silicone: MaterialRow
    shell: MaterialRow
    rows: tuple[MaterialRow, ...]
    coats: tuple[SkinCoat, ...]
    skin_g: Estimate
    skin_why: Why
    pieces_g: tuple[Estimate, ...]
    cast: CastPlan
    steps: tuple[Step, ...]
    schedule: Schedule
    shopping: tuple[Item, ...]
    cautions: tuple[Caution, ...]
    remarks: tuple[Finding, ...]

    @property
    def shell_g(self) -> Estimate:
        """All pieces together."""
        return total(self.pieces_g)


def plan_work(shape: Geometry, sheet: JobSheet, shelf: Shelf) -> Work:
    """Amounts, steps and cautions for the mould and its castings.

    Args:
        shape: of the part.
        sheet: the job's answers.
        shelf: material rows, with what this shop set itself.
    """
    silicone = shelf.find(sheet.skin.material, "silicone")
    shell = shelf.find(sheet.shell.material_used, "shell")
    clay, release = shelf.find(CLAY, "clay"), shelf.find(RELEASE, "release")
    thickener, brushing = shelf.find(THICKENER, "thickener"), shelf.find(BRUSHING, "practice")
    show_cm2 = shape.standing.show.area_mm2 / 100
    covered_cm2 = _covered_cm2(shape)
    skin = {
        "area_cm2": covered_cm2,
        "volume_cm3": shape.built.skin_cm3,
        "thickness_mm": sheet.skin.thickness_mm,
        "row": silicone,
        "practice": brushing,
    }
    coats = plan_skin_coats(
        **skin,
        fill_cm3=shape.built.fill_cm3,
        temperature_c=sheet.shop.temperature_c,
        bedding_mm=_bedding_mm(sheet),
        thickener=thickener,
    )
    cast = plan_cast(
        show_area_cm2=show_cm2,
        trim_area_cm2=max(covered_cm2 - show_cm2, 0.0),
        good_castings=sheet.job.good_castings,
        resin=sheet.cast.resin,
        powder=sheet.cast.powder,
        basis=sheet.cast.powder_basis,
        powder_ratio=sheet.cast.powder_ratio,
        face_coat_mm=sheet.cast.face_coat_mm,
        wall_mm=sheet.cast.wall_mm,
        temperature_c=sheet.shop.temperature_c,
        humidity_pct=sheet.shop.humidity_pct,
        shelf=shelf,
    )
    mould = MouldWork(
        silicone=silicone,
        shell=shell,
        clay=clay,
        release=release,
        coats=coats,
        shell_kind=sheet.shell.kind,
        shell_pieces=len(shape.built.pieces),
        shell_mm=sheet.shell.thickness_used_mm,
        area_cm2=covered_cm2,
        clay_cm3=shape.body.clay_cm3,
        flange_mm=(sheet.skin.flange_width_mm, sheet.skin.flange_thickness_mm),
        deepest_fill_mm=_deepest_fill_mm(shape),
        bolts=_bolts(shape),
        joint_bolts=sum(len(j.bolts_mm) for piece in shape.built.pieces for j in piece.joints),
        joint_dowels=sum(len(j.dowels_mm) for piece in shape.built.pieces for j in piece.joints),
        in_order=shape.built.parting.is_ordered,
        fill_places=len(shape.shell.guide.guide.places),
        gauges=len(shape.shell.guide.gauges),
        loose_pieces=len(shape.loose),
        temperature_c=sheet.shop.temperature_c,
    )
    room = {"temperature_c": sheet.shop.temperature_c, "humidity_pct": sheet.shop.humidity_pct}
    materials = (silicone, shell, clay, release, thickener, cast.resin, cast.powder)
    used = [row.id for row in materials]
    shell_cm3 = sum(piece.volume_cm3 for piece in shape.built.pieces)
    return Work(
        silicone=silicone,
        shell=shell,
        rows=(*materials, brushing, cast.practice),
        coats=coats,
        skin_g=skin_mass(**skin),
        skin_why=skin_mass_why(**skin),
        pieces_g=tuple(shell.estimate("density") * p.volume_cm3 for p in shape.built.pieces),
        cast=cast,
        steps=plan_steps(mould, cast),
        schedule=plan_schedule(mould, cast),
        shopping=shopping_list(mould, cast, shell_cm3=shell_cm3, thickener=thickener),
        cautions=cautions_for(used),
        remarks=(*room_findings(silicone, **room), *stack_findings(used)),
    )


def _bedding_mm(sheet: JobSheet) -> float:
    """The gap that is brushed full when a printed shell is set on; a laid one copies the skin."""
    gap = sheet.shell.clearance_used_mm
    return gap if sheet.shell.kind == "printed" and gap > NO_BEDDING_MM else 0.0


def _deepest_fill_mm(shape: Geometry) -> float:
    places = shape.shell.guide.guide.places
    return max((place.depth_mm for place in places), default=0.0)


def _bolts(shape: Geometry) -> int:
    """Through the flanges, each counted once though it stands in two pieces."""
    found = [place for piece in shape.built.pieces for place in piece.bolts_mm]
    return len({tuple(np.round(place, 2).tolist()) for place in found})


def _covered_cm2(shape: Geometry) -> float:
    """Area under the skin: all of the body but its foot on the board."""
    body = shape.body.mesh
    floor = (body.corners_mm[:, :, 2] < 1e-6).all(axis=1)
    return float(body.face_areas_mm2[~floor].sum()) / 100
