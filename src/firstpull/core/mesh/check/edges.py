"""What is wrong along edges: openings, crowding, faces that disagree, borders that miss."""

from __future__ import annotations

import numpy as np

from firstpull.core.arrays import Flags
from firstpull.core.figures import told_number
from firstpull.core.mesh.check.loops import loop_lengths_mm, small_loops
from firstpull.core.mesh.check.misfits import Misfits
from firstpull.core.mesh.findings import BOTH, Finding, finding
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.orient import agreeing
from firstpull.core.mesh.refusals import counted
from firstpull.core.mesh.topology import EdgeTable, open_loops, pinched_vertices


def edges_found(
    mesh: Mesh, table: EdgeTable, small_hole_mm: float, misfits: Misfits
) -> list[Finding | None]:
    count = table.count
    middle = mesh.vertices_mm[table.ends].mean(axis=1)
    crowded = np.flatnonzero(count > 2)
    turning = agreeing(mesh, edges=table)
    turn = np.flatnonzero(turning.turn & (turning.one_sided == 0))
    pinched = pinched_vertices(mesh, edges=table)
    seam = _on_seams(mesh, misfits)
    pinched = pinched[~np.isin(pinched, table.ends[crowded]) & ~seam[pinched]]
    return [
        *_openings_found(mesh, table, small_hole_mm, seam),
        *_misfits_found(misfits),
        finding(
            "touching tips",
            len(pinched),
            mesh.vertices_mm[pinched],
            f"{counted(len(pinched), 'vertex', 'vertices')} where parts of the surface touch in"
            " a single point.",
            "Mending parts them there; join them properly if they belong together.",
            ("mould",),
        ),
        finding(
            "edge of more than two faces",
            len(crowded),
            middle[crowded],
            f"{counted(len(crowded), 'edge')} where more than two faces meet:"
            " an inner wall, or bodies that touch.",
            "Mending removes inner walls and parts bodies that only touch; what it cannot"
            " decide it names.",
            BOTH,
        ),
        finding(
            "wrong winding",
            len(turn),
            mesh.corners_mm[turn].mean(axis=1),
            f"{counted(len(turn), 'face')} looking the other way than the neighbours.",
            "Mending turns them over; nothing to do.",
            BOTH,
        ),
        finding(
            "one-sided surface",
            turning.one_sided,
            middle[:0],
            "The surface meets itself turned over, like a strip with a half twist: it has no"
            " inside.",
            "Cut it open along the twist in the modelling program and join it the right way.",
            BOTH,
        ),
    ]


def _on_seams(mesh: Mesh, misfits: Misfits) -> Flags:
    """(V,) whether each vertex has a part in a misfit, or its edge has."""
    seam = np.zeros(len(mesh.vertices_mm), dtype=np.bool_)
    seam[misfits.pairs.ravel()] = True
    seam[misfits.vertex] = True
    seam[mesh.faces[misfits.face, misfits.corner]] = True
    seam[mesh.faces[misfits.face, (misfits.corner + 1) % 3]] = True
    return seam


def _openings_found(
    mesh: Mesh, table: EdgeTable, small_hole_mm: float, seam: Flags
) -> list[Finding | None]:
    """Open loops, small and large; a loop that is all misfit is told as that alone."""
    loops = [loop for loop in open_loops(mesh, edges=table) if not seam[loop].all()]
    if not loops:
        return []
    lengths = loop_lengths_mm(mesh, loops)
    centres = np.array([mesh.vertices_mm[loop].mean(axis=0) for loop in loops])
    small = np.array(small_loops(mesh, loops, small_hole_mm=small_hole_mm))
    found = []
    for kind, chosen, next_step in (
        ("small hole", small, "Mending closes them; nothing to do."),
        (
            "open edge",
            ~small,
            "Mending gives an open surface a wall, inward, and leaves its openings open; if it"
            " should have been a solid, close it in the modelling program.",
        ),
    ):
        order = np.flatnonzero(chosen)[np.argsort(-lengths[chosen], kind="stable")]
        longest = float(lengths[order[0]]) if len(order) else 0.0
        found.append(
            finding(
                kind,
                len(order),
                centres[order],
                f"{counted(len(order), 'open loop')}, {'the longest ' * (len(order) > 1)}"
                f"{told_number(longest, 4)} mm around.",
                next_step,
                BOTH,
                size_mm=longest,
            )
        )
    return found


def _misfits_found(misfits: Misfits) -> list[Finding | None]:
    gap = f"up to {told_number(misfits.largest_gap_mm, 2)} mm"
    on, beside = misfits.on_edge, ~misfits.on_edge
    return [
        finding(
            "near vertices",
            misfits.near_vertices,
            misfits.pair_places_mm,
            f"{counted(misfits.near_vertices, 'pair')} of vertices on open borders nearly meet,"
            f" {gap} apart.",
            "Mending stitches such borders together; nothing to do.",
            BOTH,
            size_mm=float(misfits.pair_gap_mm.max(initial=0.0)),
        ),
        finding(
            "T-joint",
            misfits.t_joints,
            misfits.places_mm[on],
            f"{counted(misfits.t_joints, 'vertex', 'vertices')} in the middle of another face's"
            " edge.",
            "Mending splits the edge there and joins both; nothing to do.",
            BOTH,
        ),
        finding(
            "misaligned edge",
            misfits.misaligned,
            misfits.places_mm[beside],
            f"{counted(misfits.misaligned, 'vertex', 'vertices')} beside the edge of another"
            f" face, up to {told_number(misfits.gap_mm[beside].max(initial=0.0), 2)} mm off.",
            "Mending stitches such borders together; nothing to do.",
            BOTH,
            size_mm=float(misfits.gap_mm[beside].max(initial=0.0)),
        ),
    ]
