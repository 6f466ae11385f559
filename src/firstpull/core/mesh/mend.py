"""Mending: from what arrived to one sound solid, with every change counted."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from firstpull.core.arrays import Flags
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.bits import DEBRIS_SHARE, loose_bits
from firstpull.core.mesh.bodies import united
from firstpull.core.mesh.defects import find_defects
from firstpull.core.mesh.findings import Finding
from firstpull.core.mesh.holes import SMALL_HOLE_MM, close_loops, loop_lengths_mm, small_loops
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.orient import FLAT, agreeing, hollowness, inside_out, turned
from firstpull.core.mesh.refusals import CannotMend, WallOutOfRange, need_surface
from firstpull.core.mesh.repeats import has_doubled_faces, without_repeats
from firstpull.core.mesh.solid import solid
from firstpull.core.mesh.thicken import Thickened, thickened
from firstpull.core.mesh.topology import closed_parts, components, edge_table, is_closed, open_loops
from firstpull.core.mesh.untangle import unzipped, without_inner_walls
from firstpull.core.mesh.weld import NEAR, welded, welded_near, without_unused

WALL_MM = (0.8, 20.0)


@dataclass(frozen=True)
class Mended:
    """A mesh after mending.

    Args:
        mesh: closed, outward, a solid.
        changed: what was changed, by name, only what is not 0; names end in their unit, and
            a name without one is a count.
        notes: sentences about choices that a maker should know of.
        findings_left: what the checker still says of the mesh.
    """

    mesh: Mesh
    changed: dict[str, int | float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    findings_left: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class _Work:
    """A mesh on the bench, with what was done to it so far."""

    mesh: Mesh
    changed: dict[str, int | float]
    notes: tuple[str, ...] = ()

    def then(self, mesh: Mesh, **counts: int | float) -> _Work:
        """The next state; counts add up under their names."""
        changed = dict(self.changed)
        for name, count in counts.items():
            if count:
                changed[name] = changed.get(name, 0) + count
        return replace(self, mesh=mesh, changed=changed)

    def saying(self, note: str) -> _Work:
        return replace(self, notes=(*self.notes, note))


def mend(
    mesh: Mesh,
    *,
    wall_mm: float = 3.0,
    small_hole_mm: float = SMALL_HOLE_MM,
    debris_share: float = DEBRIS_SHARE,
) -> Mended:
    """A sound solid made from any mesh, or a refusal that names what stands in the way.

    Merges vertices, drops repeated and collapsed faces and loose bits, removes inner walls,
    turns faces to agree and outward, closes small holes and cracks; an open surface gets a
    wall inward, its show side unmoved; overlapping bodies become one. Openings and rims stay.

    Args:
        mesh: any triangles, in millimetres.
        wall_mm: wall that an open surface is given, 0.8 to 20 mm.
        small_hole_mm: length around a hole up to which it is closed.
        debris_share: share of the area below which something apart is dropped.

    Returns:
        the solid and what was changed; a sound solid comes back as it was.

    Raises:
        NoTriangles, BadCoordinates, NoArea: there is nothing to mend.
        WallOutOfRange: the wall is not 0.8 to 20 mm, or the part is not larger than it.
        CannotMend: edges, twists or a shape that mending may not decide.

    >>> plate = Mesh([[0, 0, 0], [90, 0, 0], [90, 90, 0], [0, 90, 0]], [[0, 1, 2], [0, 2, 3]])
    >>> mended = mend(plate, wall_mm=2)
    >>> round(mended.mesh.volume_mm3), mended.changed["wall_given_mm"]
    (16200, 2)
    """
    need_surface(mesh)
    _need_wall(mesh, wall_mm)
    work = _Work(mesh, {})
    if not is_closed(mesh) or has_doubled_faces(mesh):
        work = _cleaned(work)
    work = _without_bits(work, debris_share)
    if not is_closed(work.mesh):
        work = _agreed(_parted(work))
        work = _holes_closed(work, small_hole_mm)
        work = _thickened_open_parts(work, wall_mm)
    work = _outward(work)
    after, merged = united(work.mesh)
    work = work.then(after, bodies_united=merged)
    _need_solid(work.mesh)
    left = find_defects(work.mesh, small_hole_mm=small_hole_mm, debris_share=debris_share)
    return Mended(work.mesh, work.changed, work.notes, left)


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
            found=f"is {wall_mm:g} mm on a part {longest:.3g} mm long",
            limit="the part must be longer than two walls",
            remedy="Check the unit with --unit, or give a thinner --wall.",
        )


def _cleaned(work: _Work) -> _Work:
    """Equal vertices merged, collapsed and repeated faces gone, cracks of rounding closed."""
    tidy = without_unused(work.mesh)
    merged = welded(tidy)
    work = work.then(merged, vertices_merged=len(tidy.vertices_mm) - len(merged.vertices_mm))
    work = _dropped_repeats(work)
    open_ends = np.unique(edge_table(work.mesh).ends[edge_table(work.mesh).count == 1])
    if len(open_ends):
        low, high = work.mesh.bounds_mm
        tol_mm = NEAR * float(np.linalg.norm(high - low))
        near = welded_near(work.mesh, open_ends, tol_mm=tol_mm)
        lost = len(work.mesh.vertices_mm) - len(near.vertices_mm)
        work = _dropped_repeats(work.then(near, vertices_merged=lost))
    return work


def _dropped_repeats(work: _Work) -> _Work:
    mesh, collapsed, repeated = without_repeats(work.mesh)
    return work.then(
        mesh, degenerate_faces_dropped=len(collapsed), duplicate_faces_dropped=len(repeated)
    )


def _without_bits(work: _Work, debris_share: float) -> _Work:
    table = edge_table(work.mesh)
    label = components(work.mesh, edges=table)
    bits = loose_bits(work.mesh, label, closed_parts(table, label), debris_share=debris_share)
    if not bits:
        return work
    kept = ~np.isin(label, bits)
    return work.then(work.mesh.with_faces(kept), loose_bits_dropped=len(bits))


def _parted(work: _Work) -> _Work:
    """No edge of more than two faces left."""
    crowded = int((edge_table(work.mesh).count > 2).sum())
    if crowded:
        slim = without_inner_walls(work.mesh)
        work = work.then(slim, inner_wall_faces_dropped=len(work.mesh.faces) - len(slim.faces))
    parted = unzipped(work.mesh)
    work = work.then(parted, vertices_parted=len(parted.vertices_mm) - len(work.mesh.vertices_mm))
    table = edge_table(parted)
    still = np.flatnonzero(table.count > 2)
    if len(still):
        x, y, z = parted.vertices_mm[table.ends[still[0]]].mean(axis=0)
        raise CannotMend(
            where="Mesh",
            found=f"has {len(still)} edges where more than two faces meet,"
            f" the first near x {x:.1f}, y {y:.1f}, z {z:.1f} mm",
            limit="which of the faces belong together is not for mending to guess",
            remedy="Delete the inner faces there in the modelling program, or unite the parts.",
        )
    return work


def _agreed(work: _Work) -> _Work:
    turning = agreeing(work.mesh)
    if turning.one_sided:
        raise CannotMend(
            where="Mesh",
            found="meets itself turned over, like a strip with a half twist",
            limit="such a surface has no inside",
            remedy="Cut it open along the twist and join it so that both sides agree.",
        )
    count = int(turning.turn.sum())
    return work.then(turned(work.mesh, turning.turn), faces_turned=count) if count else work


def _holes_closed(work: _Work, small_hole_mm: float) -> _Work:
    loops = open_loops(work.mesh)
    small = small_loops(work.mesh, loops, small_hole_mm=small_hole_mm)
    chosen = [loop for loop, wanted in zip(loops, small, strict=True) if wanted]
    return work.then(close_loops(work.mesh, chosen), holes_closed=len(chosen)) if chosen else work


def _thickened_open_parts(work: _Work, wall_mm: float) -> _Work:
    """Each open part becomes a wall; closed parts stay as they are."""
    table = edge_table(work.mesh)
    label = components(work.mesh, edges=table)
    closed = closed_parts(table, label)
    if closed.all():
        return work
    parts = [work.mesh.with_faces(closed[label])]
    for part in np.flatnonzero(~closed):
        surface, work = _facing_out(work, label == part)
        try:
            made = thickened(surface, wall_mm=wall_mm)
        except WorkshopError as refusal:
            raise _no_wall(wall_mm) from refusal
        parts.append(made.mesh)
        work = _told_wall(work, surface, made, wall_mm)
    changed = {**work.changed, "wall_given_mm": wall_mm}
    return replace(work, mesh=joined(parts), changed=changed)


def _facing_out(work: _Work, chosen: Flags) -> tuple[Mesh, _Work]:
    """One open part with its faces away from the hollow, and what was assumed."""
    surface = work.mesh.with_faces(chosen)
    hollow = hollowness(surface)
    if hollow < -FLAT:
        work = work.then(work.mesh, faces_turned=len(surface.faces))
        return surface.flipped(), work.saying(
            "The faces of the open surface looked into the hollow; the show side was taken to be"
            " the outside, and they were turned."
        )
    if hollow <= FLAT:
        return surface, work.saying(
            "The open surface is nearly flat; the side its faces look at was taken as the show"
            " side."
        )
    return surface, work.saying(
        "The side that bulges was taken as the show side; the hollow is the inside."
    )


def _told_wall(work: _Work, surface: Mesh, made: Thickened, wall_mm: float) -> _Work:
    loops = open_loops(surface)
    lengths = loop_lengths_mm(surface, loops)
    work = work.saying(
        f"The open surface became a wall {wall_mm:g} mm thick, inward; its show side did not"
        f" move. Openings and rims left open: {len(loops)}, up to {lengths.max():.0f} mm around."
    )
    if made.filled_mm3 > 0:
        work = work.saying(
            f"Where the hollow is too tight for two walls it was made solid:"
            f" {made.filled_mm3 / 1000.0:.2g} cm3."
        )
    elif made.tight_share > 1e-4:
        work = work.saying(
            f"On {100 * made.tight_share:.2g} % of the surface the hollow is too tight for the"
            f" full wall; it is {made.least_mm:.2g} mm at the thinnest."
        )
    return work


def _no_wall(wall_mm: float) -> CannotMend:
    return CannotMend(
        where="Open surface",
        found=f"could not be given a wall of {wall_mm:g} mm",
        limit="the inner side crosses itself",
        remedy="Give a thinner --wall, or thicken the surface in the modelling program.",
    )


def _outward(work: _Work) -> _Work:
    label = components(work.mesh)
    wrong = inside_out(work.mesh, label=label)
    if not wrong:
        return work
    return work.then(turned(work.mesh, np.isin(label, wrong)), bodies_turned=len(wrong))


def _need_solid(mesh: Mesh) -> None:
    """The last word: closed, accepted as a solid, with volume."""
    if not is_closed(mesh):
        raise CannotMend(
            where="Mesh",
            found="is still open after mending",
            remedy="Run firstpull check and close what it names in the modelling program.",
        )
    volume = solid(mesh).volume()
    if volume <= 0.0:
        raise CannotMend(
            where="Mesh",
            found="encloses no volume after mending",
            limit="a solid needs an inside",
            remedy="Delete faces that lie on each other in the modelling program.",
        )
