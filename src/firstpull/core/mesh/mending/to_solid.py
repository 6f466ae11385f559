"""Mending, second half: from a closed surface to a solid that is proved sound."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from firstpull.core.errors import WorkshopError
from firstpull.core.figures import told_number
from firstpull.core.mesh.check.loops import loop_lengths_mm
from firstpull.core.mesh.check.overlaps import crossed_places
from firstpull.core.mesh.check.repeats import has_doubled_faces
from firstpull.core.mesh.crossings import Crossings
from firstpull.core.mesh.mending.bench import Work
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.orient import inside_out, turned
from firstpull.core.mesh.refusals import CannotMend, counted
from firstpull.core.mesh.repair.rebuild import rebuilt
from firstpull.core.mesh.repair.uncross import uncrossed
from firstpull.core.mesh.repair.unite import united
from firstpull.core.mesh.solid import solid
from firstpull.core.mesh.thickness import wall_thickness
from firstpull.core.mesh.topology import components, is_closed, open_loops

OPEN_SHARE = 0.05
"""Share of the area that all openings together may have for a rebuilding to bridge them."""

LONGEST_BRIDGED_MM = 60.0
"""Length around an opening up to which rebuilding may wall it up: an eye opening is 80 mm around
and more. Common practice, no source."""

THINNEST_SHARE = 0.05  # of the surface, whose wall sets the step of a rebuilding
FINEST_STEPS = 420  # along the longest side, whatever the wall


def outward(work: Work) -> Work:
    """Closed bodies look outward, hollows inward."""
    label = components(work.mesh)
    wrong = inside_out(work.mesh, label=label)
    if not wrong:
        return work
    return work.then(turned(work.mesh, np.isin(label, wrong)), bodies_turned=len(wrong))


def unified(work: Work) -> Work:
    """Bodies that meet or lie in one another become one."""
    if int(components(work.mesh).max()) == 0:
        return work
    work = work.looked_over()
    mesh, count = united(work.mesh, crossings=work.crossings)
    return work.then(mesh, bodies_united=count) if count else work


def cleared(work: Work) -> Work:
    """Small places where the surface crosses itself are cut out and closed."""
    work = work.looked_over()
    done = uncrossed(work.mesh, crossings=work.crossings)
    if done.mesh is work.mesh:
        return work
    work = work.then(
        done.mesh, crossings_cut_out=done.places, crossed_faces_replaced=done.faces_cut
    )
    return replace(work, crossings=done.left)


def proved(work: Work) -> Work:
    """The last word: closed, a solid with an inside, free of self-crossing.

    Raises:
        CannotMend: names what stands in the way, and where.
    """
    if not is_closed(work.mesh):
        raise CannotMend(
            where="Mesh",
            found="is still open after mending",
            remedy="Run firstpull check and close what it names in the modelling program.",
        )
    if solid(work.mesh).volume() <= 0.0:
        raise CannotMend(
            where="Mesh",
            found="encloses no volume after mending",
            limit="a solid needs an inside",
            remedy="Delete faces that lie on each other in the modelling program.",
        )
    if has_doubled_faces(work.mesh):
        raise CannotMend(
            where="Surface",
            found="lies on itself after mending: somewhere a wall has no thickness",
            limit="the two sides of a solid are apart",
            remedy="Thicken that wall in the modelling program, or give a thinner --wall.",
        )
    work = work.looked_over()
    if work.crossings and len(work.crossings.a):
        raise _crossed(work.mesh, work.crossings)
    return work


def _crossed(mesh: Mesh, crossings: Crossings) -> CannotMend:
    places = crossed_places(mesh, crossings, np.ones(len(crossings.a), dtype=np.bool_))
    x, y, z = places[0].middle_mm
    return CannotMend(
        where="Surface",
        found=f"crosses or touches itself in {counted(len(places), 'place')}, the widest"
        f" {told_number(places[0].across_mm, 2)} mm across near x {x:.1f}, y {y:.1f}, z {z:.1f} mm",
        limit="a solid has one inside",
        remedy="Let it be rebuilt (a coarser surface there), or pull the walls apart in the"
        " modelling program.",
    )


def made_anew(work: Work, refusal: CannotMend, *, step_mm: float | None) -> Work:
    """The surface rebuilt from what is inside and what outside, where nothing else helped.

    Raises:
        CannotMend: the refusal that led here, where rebuilding does not help either.
    """
    mesh = work.mesh
    around = loop_lengths_mm(mesh, open_loops(mesh))
    share = float((around**2).sum() / (4.0 * np.pi) / max(mesh.area_mm2, 1e-300))
    if share > OPEN_SHARE or around.max(initial=0.0) > LONGEST_BRIDGED_MM:
        raise refusal
    try:
        done = rebuilt(mesh, step_mm=step_mm or _step_for(mesh))
    except WorkshopError as second:
        if step_mm is not None:
            raise
        raise refusal from second
    work = work.then(done.mesh, rebuilt_at_step_mm=round(done.step_mm, 3))
    why = f"{refusal.where} {refusal.found}".rstrip(".")
    return work.saying(
        f"{why}, and cutting and closing did not mend it: the whole surface was rebuilt at a"
        f" resolution of {told_number(done.step_mm, 2)} mm. Look at it before it is printed.",
        *done.notes,
    )


def _step_for(mesh: Mesh) -> float:
    """A quarter of the thinner walls, within what is worth computing."""
    low, high = mesh.bounds_mm
    longest = float((high - low).max())
    thick = wall_thickness(mesh, most_mm=longest / 20.0, spacing_mm=longest)
    area = mesh.face_areas_mm2
    order = np.argsort(thick.wall_mm, kind="stable")
    share = np.cumsum(area[order]) / max(float(area.sum()), 1e-300)
    thin = float(thick.wall_mm[order[int(np.searchsorted(share, THINNEST_SHARE))]])
    return float(np.clip(thin / 4.0, longest / FINEST_STEPS, longest / 200.0))
