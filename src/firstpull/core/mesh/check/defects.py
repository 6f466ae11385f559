"""What is wrong with a mesh, where, and what to do about it. The one public checker."""

from __future__ import annotations

import numpy as np

from firstpull.core.figures import told_number
from firstpull.core.mesh.check.bits import DEBRIS_SHARE, loose_bits
from firstpull.core.mesh.check.bodies import bits_found, meetings_found, parts_found, walls_found
from firstpull.core.mesh.check.edges import edges_found
from firstpull.core.mesh.check.faces import repeats_found, thin_faces_found
from firstpull.core.mesh.check.loops import SMALL_HOLE_MM
from firstpull.core.mesh.check.misfits import find_misfits, linked_parts
from firstpull.core.mesh.check.repeats import has_doubled_faces
from firstpull.core.mesh.crossings import Crossings, find_crossings
from firstpull.core.mesh.findings import Finding, finding
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import need_surface
from firstpull.core.mesh.topology import closed_parts, components, edge_table, is_closed
from firstpull.core.mesh.tree import Tree

LEAST_WALL_MM = 1.2
"""Wall below which a print is weak: three lines of a 0.4 mm nozzle. Common practice, no
source."""

LIKELY_MM = (10.0, 5000.0)
"""Longest side of a part that is taken to be in the right unit. Judgement, no source."""


def find_defects(
    mesh: Mesh,
    *,
    small_hole_mm: float = SMALL_HOLE_MM,
    debris_share: float = DEBRIS_SHARE,
    least_wall_mm: float | None = LEAST_WALL_MM,
    crossings: Crossings | None = None,
) -> tuple[Finding, ...]:
    """Everything that keeps a mesh from being one sound solid.

    Args:
        mesh: any triangles, in millimetres.
        small_hole_mm: length around a hole up to which it counts as damage, not as an opening.
        debris_share: share of the area below which something apart is a loose bit.
        least_wall_mm: walls of a sound solid thinner than this are told; None passes over them.
        crossings: of the mesh, where they are known already and it is closed.

    Returns:
        one finding for each kind of defect; empty for a sound solid. A mesh that is closed
        as its faces stand is judged so; otherwise corners at the same place count as one, so
        that a file which stores each triangle by itself is not said to be all holes. What a
        loose bit has wrong with itself is not told.

    Raises:
        NoTriangles, BadCoordinates, NoArea: there is nothing to check.

    >>> [f.kind for f in find_defects(Mesh([[0, 0, 0], [90, 0, 0], [0, 90, 0]], [[0, 1, 2]]))]
    ['open edge']
    """
    need_surface(mesh)
    found: list[Finding | None] = [_size(mesh)]
    table = edge_table(mesh)
    if is_closed(mesh, edges=table) and not has_doubled_faces(mesh):
        clean = mesh
    else:
        clean, early = repeats_found(mesh)
        found += early
        table = edge_table(clean)
    found += thin_faces_found(clean)
    if len(clean.faces):
        misfits = find_misfits(clean)
        # a patch that a crack parts from the rest is no loose bit
        label = linked_parts(clean, components(clean, edges=table), misfits)
        closed = closed_parts(table, label)
        bits = loose_bits(clean, label, closed, debris_share=debris_share)
        found.append(bits_found(clean, label, bits, debris_share))
        if bits:
            clean = clean.with_faces(~np.isin(label, bits))
            table, misfits = edge_table(clean), find_misfits(clean)
        label = components(clean, edges=table)
        found += edges_found(clean, table, small_hole_mm, misfits)
        found += parts_found(clean, table, label)
        tree = Tree.of(clean)
        known = crossings if clean is mesh else None
        known = known or find_crossings(clean, tree=tree)
        found += meetings_found(clean, table, label, known)
        sound = is_closed(clean, edges=table) and not any(f and f.blocks for f in found)
        if least_wall_mm is not None and sound:
            found.append(walls_found(clean, tree, least_wall_mm=least_wall_mm))
    return tuple(f for f in found if f is not None)


def _size(mesh: Mesh) -> Finding | None:
    low, high = mesh.bounds_mm
    longest = float((high - low).max())
    likely = LIKELY_MM[0] <= longest <= LIKELY_MM[1]
    return finding(
        "unlikely size",
        0 if likely else 1,
        [0.5 * (low + high)],
        f"The part is {told_number(longest, 3)} mm at its longest: the unit may be wrong.",
        "Say the unit of the file with --unit, or scale the part.",
        (),
        size_mm=longest,
    )
