"""plan.json: what was shaped and worked out, as plain data with units in the names."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.findings import Finding
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.from_above import relief
from firstpull.core.mould.options import Option
from firstpull.core.mould.proof import MouldProof
from firstpull.core.sheet import JobSheet
from firstpull.services.choice import choice_of
from firstpull.services.plan_geometry import Geometry
from firstpull.services.plan_work import Work
from firstpull.services.shell_json import fill_as_json, shell_as_json, shell_meshes
from firstpull.services.why_own import resting_on_own

SCHEMA = 1
LEAST_DRAFT_DEG = 2.0  # less binds easily; common practice


def part_meshes(part: str, shape: Geometry) -> dict[str, Mesh]:
    """The solids of a part by their path in the plan's folder."""
    meshes = {
        f"{part}/master.stl": shape.standing.master,
        f"{part}/mould/body.stl": shape.body.mesh,
        f"{part}/mould/skin.stl": shape.built.skin,
    }
    return meshes | shell_meshes(part, shape)


def plan_as_json(
    shape: Geometry,
    work: Work,
    proof: MouldProof,
    sheet: JobSheet,
    *,
    folder: str,
    closed: Mapping[str, bool],
    assumed: list[dict[str, Any]],
    own_figures: list[dict[str, Any]],
    remarks: list[str],
    made_on: str,
) -> dict[str, Any]:
    """The whole plan.

    Args:
        shape, work, proof: of the part.
        sheet: the job's answers.
        folder: the part's folder in the plan.
        closed: for each file of a solid, whether it is closed as written.
        assumed: everything nobody said.
        own_figures: what this shop set itself, as ``Shelf.own_as_json``.
        remarks: sentences about unit and size, the worst first.
        made_on: YYYY-MM-DD.
    """
    part = {
        "name": sheet.job.part_name,
        "sizes": _sizes(shape, work),
        "master": _master(shape, folder, closed),
        "moulds": [_mould(shape, work, sheet, folder, closed) | {"proof": proof.as_json()}],
        "cast": work.cast.as_json(),
    }
    plan = {
        "schema": SCHEMA,
        "job": {
            "name": sheet.job.name,
            "part": sheet.job.part_name,
            "good_castings": sheet.job.good_castings,
            "made_on": made_on,
        },
        "assumed": assumed,
        "own_figures": own_figures,
        "materials": [row.as_json() for row in work.rows],
        "warnings": _warnings(shape, work, proof, sheet, remarks),
        "parts": [part],
        "steps": [step.as_json() for step in work.steps],
        "schedule": work.schedule.as_json(),
        "shopping": [item.as_json() for item in work.shopping],
        "cautions": [caution.as_json() for caution in work.cautions],
    }
    for own, numbers in zip(own_figures, resting_on_own(plan), strict=True):
        own["numbers"] = numbers
    return plan


def _sizes(shape: Geometry, work: Work) -> dict[str, list[float]]:
    """Side lengths in the file's axes: as designed, as printed, as cast."""
    silicone = work.silicone.typical("shrinkage") / 100
    resin = work.cast.resin.typical("shrinkage") / 100
    printed = np.ptp(shape.printed.vertices_mm, axis=0)
    return {
        "designed": _rounded(np.ptp(shape.designed.vertices_mm, axis=0), 2),
        "printed": _rounded(printed, 2),
        "cast": _rounded(printed * (1 - silicone) * (1 - resin), 2),
    }


def _master(shape: Geometry, folder: str, closed: Mapping[str, bool]) -> dict[str, Any]:
    file = f"{folder}/master.stl"
    left = {finding.kind for finding in shape.mended.findings_left}
    return {
        "file": file,
        "closed": closed[file],
        "volume_cm3": round(shape.measures.volume_cm3, 2),
        "area_cm2": round(shape.measures.area_cm2, 2),
        "triangles": len(shape.standing.master.faces),
        "findings": [
            finding_in_mould(f, shape.standing.frame) | {"mended": f.kind not in left}
            for f in shape.findings
        ],
        "mended": {**shape.mended.changed},
        "mended_notes": [*shape.mended.notes, *_mending_told(shape)],
    }


def _mending_told(shape: Geometry) -> list[str]:
    """How far mending moved the surface, if it changed anything."""
    if shape.told is None:
        return []
    return [*shape.told.sentences, "Places in these sentences are in the axes of the file."]


def finding_in_mould(finding: Finding, frame: Floats) -> dict[str, Any]:
    """A finding with its places in the mould frame."""
    data = finding.as_json()
    places = np.array(finding.places_mm, dtype=np.float64).reshape(-1, 3)
    data["places_mm"] = [_rounded(p, 2) for p in places @ frame[:3, :3].T + frame[:3, 3]]
    return data


def _mould(
    shape: Geometry, work: Work, sheet: JobSheet, folder: str, closed: Mapping[str, bool]
) -> dict[str, Any]:
    body, skin = f"{folder}/mould/body.stl", f"{folder}/mould/skin.stl"
    chosen = len(shape.built.pieces)
    copied_cm2, left_cm2 = shape.standing.painted_cm2
    return {
        "name": "mould 1",
        "two_sided": False,
        "frame": {
            "to_mould": [round(float(v), 9) for v in shape.to_mould.ravel()],
            "up_in_input": _rounded(np.array(shape.up.direction), 6),
            "up_found_by": shape.up.found_by,
            "board_z_mm": 0,
            "grid_mm": sheet.grid_mm,
        },
        "show_area_cm2": round(shape.standing.show.area_mm2 / 100, 2),
        "show_painted_cm2": {"copied": round(copied_cm2, 2), "left": round(left_cm2, 2)},
        "body": {
            "file": body,
            "closed": closed[body],
            "volume_cm3": round(shape.body.volume_cm3, 2),
        },
        "clay_cm3": round(shape.body.clay_cm3, 2),
        "skin": {
            "file": skin,
            "closed": closed[skin],
            "material": work.silicone.id,
            "thickness_mm": sheet.skin.thickness_mm,
            "volume_cm3": round(shape.built.skin_cm3, 2),
            "fill_cm3": round(shape.built.fill_cm3, 2),
            "mass_g": work.skin_g.as_json(),
            "mass_why": work.skin_why.as_json(),
            "stretch": shape.stretch.as_json(),
            "pockets": [pocket.as_json() for pocket in shape.pockets],
            "fill": fill_as_json(shape, work, folder=folder),
        },
        "shell": shell_as_json(shape, work, sheet, folder=folder, closed=closed),
        "options": [_option(o, work, sheet, chosen, shape.reason) for o in shape.options],
        "options_left_out": list(shape.shell.left_out),
        "least_pieces": shape.shell.least.as_json(),
        "relief": [level.as_json() for level in relief(shape.body.mesh)],
        "coats": [coat.as_json() for coat in work.coats],
        "findings": [finding.as_json() for finding in work.remarks],
    }


def _option(
    option: Option, work: Work, sheet: JobSheet, chosen: int, reason: str
) -> dict[str, Any]:
    taken = option.pieces == chosen
    choice = choice_of(
        option,
        silicone=work.silicone,
        shell=work.shell,
        kind=sheet.shell.kind,
        printer_cm3_h=sheet.shop.printer_cm3_h,
        price_per_kg=sheet.skin.price_per_kg,
    )
    return choice.as_json() | {"recommended": taken, "why": reason if taken else ""}


def _warnings(
    shape: Geometry, work: Work, proof: MouldProof, sheet: JobSheet, remarks: list[str]
) -> list[str]:
    """Sentences to be minded, the worst first."""
    found = [check.sentence for check in proof.failures]
    found += [f.sentence for f in shape.mended.findings_left if f.blocks]
    found += remarks
    found += [pocket.sentence for pocket in shape.pockets[:3]]
    found += [passage.in_file(shape.to_mould).sentence for passage in shape.passages[:3]]
    if shape.stretch.ratio > shape.stretch.limit:
        found.append(shape.stretch.sentence)
    found += [stay.sentence for stay in shape.shell.loosened.stays]
    found += [piece.sentence for piece in shape.loose]
    if sheet.shell.draft_used_deg < LEAST_DRAFT_DEG:
        found.append(
            f"A draft of {sheet.shell.draft_used_deg:g} degrees is little: a shell is rougher than "
            f"that and may bind. Give shell.draft_deg {LEAST_DRAFT_DEG:g} or more."
        )
    kinds = (work.cast.findings, work.remarks)
    found += [finding.sentence for findings in kinds for finding in findings]
    return list(dict.fromkeys(found))


def _rounded(values: Floats, digits: int) -> list[float]:
    return [round(float(v), digits) + 0.0 for v in values]
