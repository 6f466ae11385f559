"""Small places where a surface crosses itself, cut out and closed again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstpull.core.arrays import Flags, Ints
from firstpull.core.mesh.check.overlaps import CrossedPlace, crossed_places
from firstpull.core.mesh.crossings import Crossings, find_crossings
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.repair.holes import closed_loops
from firstpull.core.mesh.topology import (
    components,
    is_closed,
    open_loops,
    pinched_vertices,
)

SMALL_MM = 10.0
"""A place wider than this is no slip of a few triangles. Judgement, no source."""

SMALL_SHARE = 0.05  # of the diagonal, the same for small parts
ROUNDS = 8  # of cutting, each a ring of faces wider where the last did not do


@dataclass(frozen=True)
class Uncrossed:
    """A surface after small crossings were cut out.

    Args:
        mesh: the same object where nothing was done.
        places: how many places were cut out and closed.
        faces_cut: how many faces went.
        left: what still crosses.
    """

    mesh: Mesh
    places: int
    faces_cut: int
    left: Crossings


def uncrossed(mesh: Mesh, *, crossings: Crossings | None = None) -> Uncrossed:
    """The surface with each small crossing cut out, with the faces around it, and closed flat.

    Args:
        mesh: closed and outward.
        crossings: of the mesh, where they are known already.

    Returns:
        a closed surface. Places that are wide stay, as do those where cutting does not help;
        they are listed in ``left``.
    """
    left = crossings or find_crossings(mesh)
    if not len(left.a):
        return Uncrossed(mesh, 0, 0, left)
    low, high = mesh.bounds_mm
    limit = min(SMALL_MM, SMALL_SHARE * float(np.linalg.norm(high - low)))
    first = _small(mesh, left, limit)
    best, cut = Uncrossed(mesh, 0, 0, left), 0
    for rings in range(1, ROUNDS + 1):
        places = _small(best.mesh, best.left, limit)
        if not places:
            break
        faces = np.concatenate([place.faces for place in places])
        made = _closed_without(best.mesh, _widened(best.mesh, faces, rings))
        if made is None:
            continue
        still = find_crossings(made)
        if len(still.a) < len(best.left.a):
            cut += len(faces)
            done = len(first) - len(_small(made, still, limit))
            best = Uncrossed(made, max(done, 1), cut, still)
    return best


def _small(mesh: Mesh, crossings: Crossings, limit_mm: float) -> tuple[CrossedPlace, ...]:
    every = np.ones(len(crossings.a), dtype=np.bool_)
    places = crossed_places(mesh, crossings, every)
    return tuple(p for p in places if p.across_mm <= limit_mm)


def _widened(mesh: Mesh, faces: Ints, rings: int) -> Flags:
    """(F,) the faces with so many rings of neighbours, and all around a pinched border."""
    chosen = np.zeros(len(mesh.faces), dtype=np.bool_)
    chosen[faces] = True
    for _ in range(rings):
        touched = np.zeros(len(mesh.vertices_mm), dtype=np.bool_)
        touched[mesh.faces[chosen].ravel()] = True
        chosen = np.asarray(touched[mesh.faces].any(axis=1))
    for _ in range(ROUNDS):
        rest = Mesh(mesh.vertices_mm, mesh.faces[~chosen])
        pinched = pinched_vertices(rest)
        if not len(pinched):
            break
        tight = np.zeros(len(mesh.vertices_mm), dtype=np.bool_)
        tight[pinched] = True
        chosen |= np.asarray(tight[mesh.faces].any(axis=1))
    return chosen


def _closed_without(mesh: Mesh, chosen: Flags) -> Mesh | None:
    """The mesh without chosen faces and what that leaves as crumbs, its holes closed flat."""
    if chosen.all():
        return None
    rest = mesh.with_faces(~chosen)
    before = int(components(mesh).max()) + 1
    label = components(rest)
    if int(label.max()) + 1 > before:
        areas = np.bincount(label, weights=rest.face_areas_mm2)
        kept = np.argsort(-areas, kind="stable")[:before]
        rest = rest.with_faces(np.isin(label, kept))
    made = closed_loops(rest, open_loops(rest)).mesh
    return made if is_closed(made) else None
