"""Mending: from what arrived to one sound solid, with every change counted."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import Literal

from firstpull.core.figures import told_number
from firstpull.core.mesh.check.bits import DEBRIS_SHARE
from firstpull.core.mesh.check.defects import find_defects
from firstpull.core.mesh.check.loops import SMALL_HOLE_MM
from firstpull.core.mesh.check.repeats import has_doubled_faces
from firstpull.core.mesh.mending.bench import Mended, Work
from firstpull.core.mesh.mending.surface import (
    agreed,
    given_walls,
    merged,
    parted,
    sewn,
    shut,
    without_bits,
    without_doubles,
    without_walls_inside,
)
from firstpull.core.mesh.mending.to_solid import cleared, made_anew, outward, proved, unified
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import CannotMend, UnknownStage, WallOutOfRange, need_surface
from firstpull.core.mesh.topology import is_closed, pinched_vertices

WALL_MM = (0.8, 20.0)

STAGES = {
    "merge": "corners at the same place become one vertex",
    "drop": "repeated and collapsed faces, inner walls and loose bits go",
    "turn": "faces look the same way as their neighbours, and outward",
    "stitch": "borders that run alongside each other become one edge",
    "close": "small holes and cracks get a lid",
    "wall": "an open surface gets a wall, inward",
    "unite": "bodies that meet or lie in one another become one",
    "uncross": "small places where the surface crosses itself are cut out and closed",
    "rebuild": "as a last resort the whole surface is made anew at a stated resolution",
}
"""The stages in their order, with what each does. The first two are needed by all others."""


def mend(
    mesh: Mesh,
    *,
    wall_mm: float = 3.0,
    small_hole_mm: float = SMALL_HOLE_MM,
    debris_share: float = DEBRIS_SHARE,
    stages: Collection[str] = tuple(STAGES),
    close: Collection[int] = (),
    keep: Collection[int] = (),
    lids: Literal["flat", "smooth"] = "smooth",
    rebuild_step_mm: float | None = None,
) -> Mended:
    """A sound solid made from any mesh, or a refusal that names what stands in the way.

    What leaves is closed, outward and free of self-crossing, and proved so. Openings and
    rims stay open unless asked for; the show side of an open surface does not move, unless it
    had to be made anew, which the notes say.

    Args:
        mesh: any triangles, in millimetres.
        wall_mm: wall that an open surface is given, 0.8 to 20 mm.
        small_hole_mm: length around a hole up to which it is closed without asking.
        debris_share: share of the area below which something apart is dropped.
        stages: which of STAGES to go through, in their order.
        close: numbers of openings to close as well, as ``Mended.openings`` has them.
        keep: numbers of openings to leave open although they are small.
        lids: whether a lid follows the curvature around it or is flat.
        rebuild_step_mm: resolution of a rebuilding; None takes a quarter of the wall.

    Returns:
        the solid and what was changed; a sound solid comes back as it was.

    Raises:
        NoTriangles, BadCoordinates, NoArea: there is nothing to mend.
        WallOutOfRange: the wall is not 0.8 to 20 mm, or the part is not larger than it.
        UnknownStage, NoSuchOpening: asked for what is not there.
        CannotMend: edges, twists or a shape that mending may not decide.
        TooMuchToMend: open parts that cross themselves, too many or too large together.

    >>> plate = Mesh([[0, 0, 0], [90, 0, 0], [90, 90, 0], [0, 90, 0]], [[0, 1, 2], [0, 2, 3]])
    >>> mended = mend(plate, wall_mm=2)
    >>> round(mended.mesh.volume_mm3), mended.changed["wall_given_mm"]
    (16200, 2)
    """
    need_surface(mesh)
    _need_stages(stages)
    _need_wall(mesh, wall_mm)
    work = _ready(Work(mesh), stages)
    try:
        if not is_closed(work.mesh):
            work = _joined_up(work, stages)
        elif len(pinched_vertices(work.mesh)):
            work = parted(work)
        if "drop" in stages:
            work = without_bits(work, debris_share)
        work = replace(work, kept=work.mesh)
        if not is_closed(work.mesh):
            if "close" in stages:
                work = shut(work, small_hole_mm=small_hole_mm, close=close, keep=keep, lids=lids)
            if "wall" in stages:
                work = given_walls(work, wall_mm)
        work = proved(_one_solid(work, stages))
    except CannotMend as refusal:
        if "rebuild" not in stages:
            raise
        # what it is measured against is the surface before it was made anew
        work = replace(work, kept=work.kept or work.mesh)
        work = proved(made_anew(work, refusal, step_mm=rebuild_step_mm))
    left = find_defects(
        work.mesh,
        small_hole_mm=small_hole_mm,
        debris_share=debris_share,
        crossings=work.crossings,
    )
    return Mended(work.mesh, work.changed, work.notes, left, work.kept, work.openings)


def _ready(work: Work, stages: Collection[str]) -> Work:
    """One vertex for each place, each face once."""
    if is_closed(work.mesh) and not has_doubled_faces(work.mesh):
        return work
    if "merge" in stages:
        work = merged(work)
    return without_doubles(work) if "drop" in stages else work


def _joined_up(work: Work, stages: Collection[str]) -> Work:
    if "drop" in stages:
        work = without_walls_inside(work)
    work = parted(work)
    if "turn" in stages:
        work = agreed(work)
    if "stitch" in stages:
        work = sewn(work)
    return work


def _one_solid(work: Work, stages: Collection[str]) -> Work:
    if not is_closed(work.mesh):
        return work
    if "turn" in stages:
        work = outward(work)
    if "unite" in stages:
        work = unified(work)
    return cleared(work) if "uncross" in stages else work


def _need_stages(stages: Collection[str]) -> None:
    unknown = [name for name in stages if name not in STAGES]
    if unknown:
        raise UnknownStage(
            where=f'Stage "{unknown[0]}"',
            found="does not exist",
            limit="mending has the stages " + ", ".join(STAGES),
            remedy="Name some of these.",
        )


def _need_wall(mesh: Mesh, wall_mm: float) -> None:
    low, high = mesh.bounds_mm
    if not WALL_MM[0] <= wall_mm <= WALL_MM[1]:
        raise WallOutOfRange(
            where="Wall",
            found=f"is {wall_mm:g} mm",
            limit=f"an open surface takes {WALL_MM[0]:g} to {WALL_MM[1]:g} mm",
            remedy="Give --wall in that range.",
        )
    longest = float((high - low).max())
    if longest <= 2.0 * wall_mm and not is_closed(mesh):
        raise WallOutOfRange(
            where="Wall",
            found=f"is {wall_mm:g} mm on a part {told_number(longest, 3)} mm long",
            limit="the part must be longer than two walls",
            remedy="Check the unit with --unit, or give a thinner --wall.",
        )
