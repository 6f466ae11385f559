"""What is wrong with a mesh, where, and what to do about it. The one public checker."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.mesh.bits import DEBRIS_SHARE, loose_bits
from firstpull.core.mesh.findings import Finding
from firstpull.core.mesh.holes import SMALL_HOLE_MM, loop_lengths_mm, small_loops
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.orient import agreeing, inside_out
from firstpull.core.mesh.refusals import counted, need_surface
from firstpull.core.mesh.topology import EdgeTable, components, edge_table, is_closed, open_loops
from firstpull.core.mesh.weld import equal_points, welded

PLACES = 24
BOTH = ("print", "mould")


def find_defects(
    mesh: Mesh, *, small_hole_mm: float = SMALL_HOLE_MM, debris_share: float = DEBRIS_SHARE
) -> tuple[Finding, ...]:
    """Everything that keeps a mesh from being one sound solid.

    Args:
        mesh: any triangles, in millimetres.
        small_hole_mm: length around a hole up to which it counts as damage, not as an opening.
        debris_share: share of the area below which something apart is a loose bit.

    Returns:
        one finding for each kind of defect; empty for a sound solid. A mesh that is closed
        as its faces stand is judged so; otherwise corners at the same place count as one, so
        that a file which stores each triangle by itself is not said to be all holes.

    Raises:
        NoTriangles, BadCoordinates, NoArea: there is nothing to check.

    Self-crossing walls are not looked for.

    >>> [f.kind for f in find_defects(Mesh([[0, 0, 0], [90, 0, 0], [0, 90, 0]], [[0, 1, 2]]))]
    ['open edge']
    """
    need_surface(mesh)
    found: list[Finding | None] = []
    table = edge_table(mesh)
    if is_closed(mesh, edges=table) and not has_doubled_faces(mesh):
        clean = mesh
    else:
        clean, early = _without_repeats(mesh)
        found += early
        table = edge_table(clean)
    found.append(_slivers(clean))
    if len(clean.faces):
        label = components(clean, edges=table)
        closed = closed_parts(table, label)
        bits = loose_bits(clean, label, closed, debris_share=debris_share)
        found.append(_bits(clean, label, bits, debris_share))
        if bits:  # what is wrong with a bit that will be dropped is of no interest
            clean = clean.with_faces(~np.isin(label, bits))
            table = edge_table(clean)
            label = components(clean, edges=table)
        found += _edges(clean, table, small_hole_mm)
        found += _parts(clean, table, label)
    return tuple(f for f in found if f is not None)


def has_doubled_faces(mesh: Mesh) -> bool:
    """Whether faces of a closed mesh lie on others, as in a part that was exported twice."""
    first, place = equal_points(mesh.vertices_mm)
    if len(first) == len(mesh.vertices_mm):
        return False
    faces = np.sort(place[mesh.faces], axis=1)
    twice = np.bincount(place, minlength=len(first)) > 1
    able = faces[twice[faces].all(axis=1)]
    return len(np.unique(able, axis=0)) < len(able)


def _without_repeats(mesh: Mesh) -> tuple[Mesh, list[Finding | None]]:
    """The mesh with equal corners merged, collapsed and repeated faces left out; and why."""
    merged = welded(mesh)
    used = np.unique(mesh.faces)
    doubled = len(used) - len(merged.vertices_mm)
    clean, collapsed, repeated = without_repeats(merged)
    places = np.zeros((0, 3))
    if doubled:
        first, place = equal_points(mesh.vertices_mm[used])
        places = mesh.vertices_mm[used][first[np.bincount(place) > 1]]
    corners = merged.vertices_mm[merged.faces].mean(axis=1)
    return clean, [
        _finding(
            "unmerged vertices",
            doubled,
            places,
            f"{doubled} vertices lie exactly on others, so faces that should share them do not.",
            "Mending merges them; nothing to do.",
            ("mould",),
        ),
        _finding(
            "degenerate face",
            len(collapsed),
            corners[collapsed],
            f"{counted(len(collapsed), 'triangle')} with two corners in the same place.",
            "Mending drops them; nothing to do.",
            ("mould",),
        ),
        _finding(
            "duplicate face",
            len(repeated),
            corners[repeated],
            f"{counted(len(repeated), 'triangle')} lying on another with the same corners.",
            "Mending keeps one of each; look for a part that was exported twice.",
            BOTH,
        ),
    ]


def without_repeats(mesh: Mesh) -> tuple[Mesh, NDArray[np.int64], NDArray[np.int64]]:
    """The mesh without collapsed and repeated faces.

    Of faces with the same corners the first stays, whichever way they look; but where a face
    and its reverse cancel (a fin without thickness on a surface that is closed without it),
    neither stays.

    Returns:
        the mesh, its vertices unchanged; the collapsed faces and the repeated ones that went.
    """
    faces = mesh.faces.astype(np.int64)
    flat = (faces == np.roll(faces, 1, axis=1)).any(axis=1)
    ordered = np.sort(faces, axis=1)
    n = max(len(mesh.vertices_mm), 1)
    pair = ordered[:, 0] * n + ordered[:, 1]
    order = np.lexsort((ordered[:, 2], pair))
    same = (pair[order[1:]] == pair[order[:-1]]) & (ordered[order[1:], 2] == ordered[order[:-1], 2])
    again = np.zeros(len(faces), dtype=np.bool_)
    again[order[1:][same]] = True
    again &= ~flat
    if not (flat.any() or again.any()):
        return mesh, np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    drop = again.copy()
    if again.any():
        lonely = _would_open(mesh, flat | again)
        twice = np.zeros(len(faces), dtype=np.bool_)
        twice[order[1:][same]] = True
        twice[order[:-1][same]] = True
        if _would_open(mesh, flat | twice) < lonely:
            drop = twice & ~flat
    kept = Mesh(mesh.vertices_mm, mesh.faces[~(flat | drop)])
    return kept, np.flatnonzero(flat), np.flatnonzero(drop)


def _would_open(mesh: Mesh, drop: Flags) -> int:
    """How many edges have other than two faces once some are dropped."""
    return int((edge_table(Mesh(mesh.vertices_mm, mesh.faces[~drop])).count != 2).sum())


def _slivers(mesh: Mesh) -> Finding | None:
    """Faces without area whose corners differ: harmless in a solid, told as a remark."""
    corners = mesh.corners_mm
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    flat = np.flatnonzero(2.0 * mesh.face_areas_mm2 <= 1e-9 * longest * longest)
    return _finding(
        "sliver",
        len(flat),
        corners[flat].mean(axis=1),
        f"{counted(len(flat), 'triangle')} without area: three corners in one line.",
        "They do no harm; a remesh in the modelling program removes them.",
        (),
    )


def _edges(mesh: Mesh, table: EdgeTable, small_hole_mm: float) -> list[Finding | None]:
    count = table.count
    middle = mesh.vertices_mm[table.ends].mean(axis=1)
    crowded = np.flatnonzero(count > 2)
    turning = agreeing(mesh, edges=table)
    turn = np.flatnonzero(turning.turn & (turning.one_sided == 0))
    return [
        *_openings(mesh, table, small_hole_mm),
        _finding(
            "edge of more than two faces",
            len(crowded),
            middle[crowded],
            f"{counted(len(crowded), 'edge')} where more than two faces meet:"
            " an inner wall, or bodies that touch.",
            "Mending removes inner walls and parts bodies that only touch; what it cannot"
            " decide it names.",
            BOTH,
        ),
        _finding(
            "wrong winding",
            len(turn),
            mesh.corners_mm[turn].mean(axis=1),
            f"{counted(len(turn), 'face')} looking the other way than the neighbours.",
            "Mending turns them over; nothing to do.",
            BOTH,
        ),
        _finding(
            "one-sided surface",
            turning.one_sided,
            middle[:0],
            "The surface meets itself turned over, like a strip with a half twist: it has no"
            " inside.",
            "Cut it open along the twist in the modelling program and join it the right way.",
            BOTH,
        ),
    ]


def _openings(mesh: Mesh, table: EdgeTable, small_hole_mm: float) -> list[Finding | None]:
    loops = open_loops(mesh, edges=table)
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
            _finding(
                kind,
                len(order),
                centres[order],
                f"{counted(len(order), 'open loop')}, {'the longest ' * (len(order) > 1)}"
                f"{longest:.4g} mm around.",
                next_step,
                BOTH,
                size_mm=longest,
            )
        )
    return found


def _bits(mesh: Mesh, label: Ints, bits: list[int], debris_share: float) -> Finding | None:
    return _finding(
        "loose bit",
        len(bits),
        _part_centres(mesh, label, bits),
        f"{counted(len(bits), 'loose bit')} under {100 * debris_share:g} % of the surface,"
        " apart from the rest.",
        "Mending drops loose bits; join them to the part first if they belong to it.",
        ("mould",),
    )


def _parts(mesh: Mesh, table: EdgeTable, label: Ints) -> list[Finding | None]:
    count = int(label.max()) + 1
    sound = np.flatnonzero(closed_parts(table, label) & _agree(table, label))
    wrong: list[int] = []
    if len(sound):
        chosen = np.isin(label, sound)
        place = np.searchsorted(sound, label[chosen]).astype(np.int32)
        wrong = [int(sound[p]) for p in inside_out(mesh.with_faces(chosen), label=place)]
    return [
        _finding(
            "inside out",
            len(wrong),
            _part_centres(mesh, label, wrong),
            f"{counted(len(wrong), 'closed body', 'closed bodies')} with all faces looking inward.",
            "Mending turns them outward; nothing to do.",
            BOTH,
        ),
        _finding(
            "separate parts",
            count if count > 1 else 0,
            _part_centres(mesh, label, list(range(count))) if count > 1 else np.zeros((0, 3)),
            f"{count} separate parts.",
            "Mending unites those that overlap; those apart stay apart.",
            (),
        ),
    ]


def closed_parts(table: EdgeTable, label: Ints) -> Flags:
    """(P,) whether all edges of each part have exactly two faces."""
    wrong = np.repeat(table.count != 2, table.count)
    closed = np.ones(int(label.max()) + 1, dtype=np.bool_)
    closed[label[table.sides[wrong] // 3]] = False
    return closed


def _agree(table: EdgeTable, label: Ints) -> Flags:
    """(P,) whether the faces of each part all look the same way."""
    wrong = np.repeat((table.count == 2) & (table.forward != 1), table.count)
    agrees = np.ones(int(label.max()) + 1, dtype=np.bool_)
    agrees[label[table.sides[wrong] // 3]] = False
    return agrees


def _part_centres(mesh: Mesh, label: Ints, parts: list[int]) -> Floats:
    if not parts:
        return np.zeros((0, 3))
    centres = mesh.face_centres_mm
    weight = np.maximum(mesh.face_areas_mm2, 1e-300)
    total = np.bincount(label, weights=weight)
    middle = [np.bincount(label, weights=weight * centres[:, k]) / total for k in range(3)]
    return np.stack(middle, axis=1)[parts]


def _finding(
    kind: str,
    count: int,
    places: Floats,
    sentence: str,
    next_step: str,
    blocks: tuple[str, ...],
    *,
    size_mm: float | None = None,
) -> Finding | None:
    """The finding, or nothing where nothing was found."""
    if not count:
        return None
    spots = tuple((float(x), float(y), float(z)) for x, y, z in places[:PLACES])
    return Finding(kind, count, sentence, next_step, blocks, spots, size_mm)
