"""What hand and eye chose in the view goes into the sheet: walls, pulls, up, paint.

Places arrive as they are shown, in the mould frame of a plan; the sheet keeps them in the axes
of the mesh file, where a new plan finds them whatever way it turns the part.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.job.kinds import Job, KeptSheet
from firstpull.core.job.refusals import NoSuchThing
from firstpull.core.mould.in_file import directions_for_sheet, points_for_sheet, wall_in_file
from firstpull.core.sheet import MOST_SHOW_DABS
from firstpull.core.sheet_check import BadSheet
from firstpull.services.chosen import NoPlan, plan_in, to_mould_of
from firstpull.services.jobs.desk import Desk
from firstpull.services.jobs.places import plan_folder
from firstpull.services.jobs.sheet_read import sheet_read
from firstpull.services.jobs.sheets import change_sheet

STEERED = ("walls", "pulls", "up", "paint")
"""What can be steered."""


def steer(
    desk: Desk,
    job_id: str,
    moves: Mapping[str, Any],
    *,
    run_id: str,
    version: int,
    now: datetime.datetime,
) -> KeptSheet:
    """Write what was chosen in the view of a run into the job's sheet.

    Args:
        desk: where it is kept.
        job_id: which.
        moves: of ``STEERED``, in the axes of what that run shows. "walls": each {through,
            facing, bend} or {line}; pulls that were fixed before go out, unless new ones come
            along. "pulls": a direction for each piece. "up": a direction. "paint": dabs {at,
            radius_mm, copied}, put on top of those there are.
        run_id: the run whose axes they are in; one without a plan shows the axes of the file.
        version: of the sheet that the change was made on.
        now: with a time zone.

    Raises:
        NoSuchThing: no such job, or the run is another job's.
        NoPlan: places were given, but the run has no plan whose axes they could be in.
        ChangedMeanwhile, BadSheet: as :func:`change_sheet`.
    """
    job = desk.job(job_id)
    to_mould = _axes(desk, job, run_id, needed=any(moves.get(m) for m in STEERED if m != "up"))
    said = sheet_read(job.sheet.text).sheet
    fields: dict[str, Any] = {}
    if moves.get("up"):
        fields["master.up"] = directions_for_sheet([moves["up"]], to_mould)[0]
    if moves.get("walls") is not None:
        walls = [_wall(wall, to_mould) for wall in moves["walls"]]
        fields["shell.walls"] = walls or None
        fields["shell.pulls"] = None
        if said.shell.pieces is not None and said.shell.pieces <= len(walls):
            fields["shell.pieces"] = len(walls) + 1
    if moves.get("pulls"):
        fields["shell.pulls"] = directions_for_sheet(moves["pulls"], to_mould)
        if said.shell.pieces is not None:
            fields["shell.pieces"] = len(moves["pulls"])
    if moves.get("paint"):
        before = [dab.model_dump() for dab in said.master.paint or ()]
        fields["master.paint"] = _dabs(before, moves["paint"], to_mould)
    return change_sheet(desk, job_id, fields, version=version, now=now)


def _axes(desk: Desk, job: Job, run_id: str, *, needed: bool) -> Floats:
    """(4, 4) from the file's coordinates to what the run shows."""
    run = desk.run(run_id)
    if run.job_id != job.id:
        raise NoSuchThing(
            where="This plan", found="is not one of this job", remedy="Look at the job again."
        )
    if run.state == "done":
        return to_mould_of(plan_in(plan_folder(desk.folder, run)))
    if not needed:
        return np.eye(4)
    raise NoPlan(
        where=f'The job "{job.name}"',
        found="has no plan yet to place this in",
        limit="walls, pulls and paint are set on a plan that is there",
        remedy="Wait for the plan, then set them.",
    )


def _wall(wall: Mapping[str, Any], to_mould: Floats) -> dict[str, Any]:
    if wall.get("line"):
        return {"line": points_for_sheet(wall["line"], to_mould)}
    return wall_in_file(wall, to_mould)


def _dabs(
    before: list[dict[str, Any]], added: Sequence[Mapping[str, Any]], to_mould: Floats
) -> list[dict[str, Any]]:
    if len(before) + len(added) > MOST_SHOW_DABS:
        raise BadSheet(
            where="The paint",
            found=f"comes to {len(before) + len(added)} dabs",
            limit=f"a sheet holds {MOST_SHOW_DABS}",
            remedy="Paint with a broader brush, or wipe off what was painted before.",
        )
    places = points_for_sheet([dab["at"] for dab in added], to_mould)
    return before + [
        {"at": place, "radius_mm": float(dab["radius_mm"]), "copied": bool(dab["copied"])}
        for place, dab in zip(places, added, strict=True)
    ]
