"""Mending, first half: the stages from what arrived to one closed surface."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import Literal

import numpy as np

from firstpull.core.arrays import Flags, Ints
from firstpull.core.errors import WorkshopError
from firstpull.core.figures import told_number
from firstpull.core.mesh.check.bits import loose_bits
from firstpull.core.mesh.check.loops import loop_lengths_mm
from firstpull.core.mesh.check.openings import find_openings
from firstpull.core.mesh.check.repeats import without_repeats
from firstpull.core.mesh.crossings import find_crossings
from firstpull.core.mesh.mending.bench import Work
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.orient import FLAT, agreeing, hollowness, turned
from firstpull.core.mesh.refusals import CannotMend, NoSuchOpening, TooMuchToMend
from firstpull.core.mesh.repair.holes import closed_loops
from firstpull.core.mesh.repair.stitch import stitched
from firstpull.core.mesh.repair.untangle import unzipped, without_inner_walls
from firstpull.core.mesh.topology import closed_parts, components, edge_table, open_loops
from firstpull.core.mesh.wall.thicken import (
    MOST_POINTS,
    CannotThicken,
    Thickened,
    grid_points,
    thickened,
)
from firstpull.core.mesh.weld import NEAR, welded, welded_near, without_unused

MOST_OPEN_PARTS = 24
"""Open sheets that may become walls, each by itself. Judgement, no source."""


def merged(work: Work) -> Work:
    """Corners at the same place become one vertex, those that rounding drew apart as well."""
    tidy = without_unused(work.mesh)
    mesh = welded(tidy)
    work = work.then(mesh, vertices_merged=len(tidy.vertices_mm) - len(mesh.vertices_mm))
    table = edge_table(work.mesh)
    open_ends = np.unique(table.ends[table.count == 1])
    if not len(open_ends):
        return work
    low, high = work.mesh.bounds_mm
    near = welded_near(work.mesh, open_ends, tol_mm=NEAR * float(np.linalg.norm(high - low)))
    return work.then(near, vertices_merged=len(work.mesh.vertices_mm) - len(near.vertices_mm))


def without_doubles(work: Work) -> Work:
    """Collapsed and repeated faces go."""
    mesh, collapsed, repeated = without_repeats(work.mesh)
    return work.then(
        mesh, degenerate_faces_dropped=len(collapsed), duplicate_faces_dropped=len(repeated)
    )


def without_walls_inside(work: Work) -> Work:
    """Sheets that hang on an edge which two other faces share already go."""
    if not (edge_table(work.mesh).count > 2).any():
        return work
    slim = without_inner_walls(work.mesh)
    return work.then(slim, inner_wall_faces_dropped=len(work.mesh.faces) - len(slim.faces))


def without_bits(work: Work, debris_share: float) -> Work:
    """Loose bits go."""
    table = edge_table(work.mesh)
    label = components(work.mesh, edges=table)
    bits = loose_bits(work.mesh, label, closed_parts(table, label), debris_share=debris_share)
    if not bits:
        return work
    kept = ~np.isin(label, bits)
    return work.then(work.mesh.with_faces(kept), loose_bits_dropped=len(bits))


def parted(work: Work) -> Work:
    """Bodies that only touch come apart; an edge of more than two faces left is a refusal."""
    mesh = unzipped(work.mesh)
    work = work.then(mesh, vertices_parted=len(mesh.vertices_mm) - len(work.mesh.vertices_mm))
    table = edge_table(mesh)
    still = np.flatnonzero(table.count > 2)
    if len(still):
        x, y, z = mesh.vertices_mm[table.ends[still[0]]].mean(axis=0)
        raise CannotMend(
            where="Mesh",
            found=f"has {len(still)} edges where more than two faces meet,"
            f" the first near x {x:.1f}, y {y:.1f}, z {z:.1f} mm",
            limit="which of the faces belong together is not for mending to guess",
            remedy="Delete the inner faces there in the modelling program, or unite the parts.",
        )
    return work


def agreed(work: Work) -> Work:
    """Neighbours look the same way; a surface with one side only is a refusal."""
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


def sewn(work: Work) -> Work:
    """Borders that run alongside each other become one edge."""
    done = stitched(work.mesh)
    if done.mesh is work.mesh:
        return work
    work = work.then(done.mesh, edges_stitched=done.edges_joined // 2)
    return work.saying(
        f"Borders up to {told_number(done.largest_gap_mm, 2)} mm apart were stitched together;"
        f" no vertex moved farther than {told_number(done.largest_move_mm, 2)} mm."
    )


def shut(
    work: Work,
    *,
    small_hole_mm: float,
    close: Collection[int],
    keep: Collection[int],
    lids: Literal["flat", "smooth"],
) -> Work:
    """Holes that are damage get a lid, and those that were asked for; the rest stay open."""
    loops = open_loops(work.mesh)
    openings = find_openings(work.mesh, loops, small_hole_mm=small_hole_mm)
    _need_known(close, keep, len(openings))
    work = replace(work, openings=openings)
    wanted = [o for o in openings if (o.closes and o.number not in keep) or o.number in close]
    if not wanted:
        return work
    done = closed_loops(work.mesh, [opening.loop for opening in wanted], how=lids)
    return work.then(done.mesh, holes_closed=len(done.lids))


def _need_known(close: Collection[int], keep: Collection[int], count: int) -> None:
    unknown = sorted(n for n in {*close, *keep} if not 1 <= n <= count)
    if unknown:
        raise NoSuchOpening(
            where=f"Opening {unknown[0]}",
            found="does not exist",
            limit=f"the mesh has {count} open borders" if count else "the mesh has no open border",
            remedy="Run firstpull check: it lists them with their numbers.",
        )


def given_walls(work: Work, wall_mm: float) -> Work:
    """Each open part becomes a wall; closed parts stay as they are."""
    table = edge_table(work.mesh)
    label = components(work.mesh, edges=table)
    closed = closed_parts(table, label)
    if closed.all():
        return work
    _need_few(int((~closed).sum()))
    _need_few_crossed(work.mesh, label, closed, wall_mm)
    parts = [work.mesh.with_faces(closed[label])]
    for part in np.flatnonzero(~closed):
        surface, work = _facing_out(work, label == part)
        try:
            made = thickened(surface, wall_mm=wall_mm)
        except WorkshopError as refusal:
            raise _no_wall(wall_mm, refusal) from refusal
        parts.append(made.mesh)
        work = _told_wall(work, surface, made, wall_mm)
    changed = {**work.changed, "wall_given_mm": wall_mm}
    return replace(work, mesh=joined(parts), changed=changed)


def _need_few(open_parts: int) -> None:
    if open_parts > MOST_OPEN_PARTS:
        raise CannotMend(
            where="Mesh",
            found=f"has {open_parts} open parts",
            limit=f"mending gives walls to {MOST_OPEN_PARTS} at the most: more are a scene, not a"
            " part",
            remedy="Export the part by itself, and join its sheets in the modelling program.",
        )


def _need_few_crossed(mesh: Mesh, label: Ints, closed: Flags, wall_mm: float) -> None:
    """Refuses an assembly of open parts that cross themselves: each takes a grid of its own."""
    found = find_crossings(mesh)
    own = label[found.a[label[found.a] == label[found.b]]]
    crossed = np.unique(own[~closed[own]])
    points = sum(grid_points(mesh.with_faces(label == part), wall_mm=wall_mm) for part in crossed)
    if len(crossed) > 1 and points > MOST_POINTS:
        raise TooMuchToMend(
            where="Mesh",
            found=f"has {len(crossed)} open parts that cross themselves",
            limit="such a part is made anew to get a wall, and all of them together would take"
            f" {points / 1e6:.0f} million points of space where {MOST_POINTS / 1e6:.0f} million"
            " are worked through",
            remedy="Mend them one by one, each from a file of its own, or give a thicker --wall.",
        )


def _facing_out(work: Work, chosen: Flags) -> tuple[Mesh, Work]:
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


def _told_wall(work: Work, surface: Mesh, made: Thickened, wall_mm: float) -> Work:
    loops = open_loops(surface)
    lengths = loop_lengths_mm(surface, loops)
    still = "its show side did not move"
    if made.off_mm > 0:
        still = (
            "its show side had to be made anew and strays by up to"
            f" {told_number(made.off_mm, 2)} mm"
        )
    work = work.saying(
        f"The open surface became a wall {wall_mm:g} mm thick, inward; {still}."
        f" Openings and rims left open: {len(loops)}, up to {lengths.max():.0f} mm around."
    )
    if made.filled_mm3 > 0:
        work = work.saying(
            f"Where the hollow is too tight for two walls it was made solid:"
            f" {told_number(made.filled_mm3 / 1000.0, 2)} cm3."
        )
    elif made.tight_share > 1e-4:
        work = work.saying(
            f"On {told_number(100 * made.tight_share, 2)} % of the surface the hollow is too"
            f" tight for the full wall; it is {told_number(made.least_mm, 2)} mm at the thinnest."
        )
    return work


def _no_wall(wall_mm: float, why: WorkshopError) -> CannotMend:
    remedy = "Give a thinner --wall, or thicken the surface in the modelling program."
    return CannotMend(
        where="Open surface",
        found=f"could not be given a wall of {wall_mm:g} mm",
        limit=f"the surface {why.found}",
        remedy=why.remedy if isinstance(why, CannotThicken) else remedy,
    )
