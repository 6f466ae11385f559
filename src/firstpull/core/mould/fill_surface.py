"""The skin's outside with and without fill, and which pocket each part of it covers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Floats
from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Field, Grid
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.tree import Tree
from firstpull.core.mould.fill import Fill
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import with_soft_valleys

STANDS_OFF_MM = 0.3  # the filled surface is counted from here

Indices = NDArray[np.int64]


@dataclass(frozen=True)
class SkinSurfaces:
    """The skin's outside in the mould frame, not yet cut at the board.

    Args:
        plain: without fill, its valleys rounded as silicone rounds them.
        filled: with it.
    """

    plain: Mesh
    filled: Mesh


def skin_surfaces(shape: SkinShape, fill: Fill) -> SkinSurfaces:
    """The skin's outside without and with its fill."""
    plain = with_soft_valleys(shape.phi, shape.grid)
    return SkinSurfaces(
        contour(plain, shape.grid), contour(filled_field(plain, shape, fill), shape.grid)
    )


def filled_field(plain: Field, shape: SkinShape, fill: Fill) -> Field:
    return np.minimum(plain, fill.field(shape.phi))


@dataclass(frozen=True)
class Patch:
    """The places' part of one surface, triangle by triangle.

    Args:
        middles, ways: (N, 3) centres and unit normals.
        areas_mm2, away_mm: (N,) areas, and distances to the other surface.
        label: (N,) the place.
    """

    middles: Floats
    ways: Floats
    areas_mm2: Floats
    away_mm: Floats
    label: Indices

    @staticmethod
    def of(mesh: Mesh, other: Mesh, cells: Indices, label: Indices, grid: Grid) -> Patch:
        own = label_at(mesh.face_centres_mm, cells, label, grid)
        near = np.flatnonzero((own > 0) & (mesh.face_centres_mm[:, 2] > 0))
        middles = mesh.face_centres_mm[near]
        away, _, _ = Tree.of(other).closest(middles) if len(near) else (np.zeros(0), 0, 0)
        return Patch(middles, mesh.face_normals[near], mesh.face_areas_mm2[near], away, own[near])


def pocket_surfaces(
    surfaces: SkinSurfaces, cells: Indices, label: Indices, grid: Grid
) -> tuple[Mesh, Mesh]:
    """The filled skin above the board in two open surfaces: plain skin, and all pockets.

    Args:
        surfaces: of one skin and fill.
        cells, label: flat numbers of grid points, rising, and the pocket of each, from 1.
        grid: the skin's.

    They meet in the lines where fill stands 0.3 mm off the plain skin.
    """
    mesh = surfaces.filled
    own = label_at(mesh.face_centres_mm, cells, label, grid) > 0
    away = np.zeros(len(mesh.vertices_mm))
    used = np.unique(mesh.faces[own])
    if len(used):
        away[used] = Tree.of(surfaces.plain).closest(mesh.vertices_mm[used])[0]
    plain, pockets = mesh.faces[~own], mesh.faces[own]
    parts = [
        (mesh.vertices_mm, plain),
        _cut(mesh.vertices_mm, pockets, STANDS_OFF_MM - away),
    ]
    filled = _cut(mesh.vertices_mm, pockets, away - STANDS_OFF_MM)
    shift = len(mesh.vertices_mm)
    rest = (np.vstack([parts[0][0], parts[1][0]]), np.vstack([plain, parts[1][1] + shift]))
    return _above_board(*rest), _above_board(*filled)


def _above_board(vertices: Floats, faces: NDArray[np.int32]) -> Mesh:
    vertices, faces = _cut(vertices, faces, vertices[:, 2])
    used, own = np.unique(faces, return_inverse=True)
    return Mesh(vertices[used], own.reshape(-1, 3))


def _cut(
    vertices: Floats, faces: NDArray[np.int32], value: Floats
) -> tuple[Floats, NDArray[np.int32]]:
    """The part of a surface where a value, linear between vertices, is above zero."""
    up = value[faces] > 0
    count = up.sum(axis=1)
    whole = faces[count == 3]
    made_vertices, made_faces, start = [vertices], [whole], len(vertices)
    for high in (1, 2):
        part, side = faces[count == high], up[count == high]
        if not len(part):
            continue
        # turn each triangle so that its odd corner comes first
        odd = np.argmax(side if high == 1 else ~side, axis=1)
        a, b, c = (part[np.arange(len(part)), (odd + n) % 3] for n in range(3))
        ab, ac = _between(vertices, value, a, b), _between(vertices, value, a, c)
        p, q = start + np.arange(len(part)), start + len(part) + np.arange(len(part))
        made_vertices += [ab, ac]
        start += 2 * len(part)
        if high == 1:
            made_faces.append(np.stack([a, p, q], axis=1))
        else:
            made_faces += [np.stack([p, b, c], axis=1), np.stack([p, c, q], axis=1)]
    return np.vstack(made_vertices), np.vstack(made_faces).astype(np.int32)


def _between(vertices: Floats, value: Floats, a: Indices, b: Indices) -> Floats:
    """Where the value is zero on the way from one vertex to another."""
    t = (value[a] / (value[a] - value[b]))[:, None]
    return np.asarray((1 - t) * vertices[a] + t * vertices[b])


def label_at(points: Floats, cells: Indices, label: Indices, grid: Grid) -> Indices:
    """(N,) the place at each point: the first of those at the eight grid points around."""
    base = np.floor((points - np.array(grid.low_mm)) / grid.step_mm).astype(np.int64)
    best = np.zeros(len(points), dtype=np.int64)
    if not len(cells):
        return best
    for corner in np.ndindex(2, 2, 2):
        ijk = np.clip(base + np.array(corner), 0, np.array(grid.shape) - 1)
        flat = np.ravel_multi_index(tuple(ijk.T), grid.shape)
        at = np.minimum(np.searchsorted(cells, flat), len(cells) - 1)
        here = np.where(cells[at] == flat, label[at], 0)
        best = np.where((here > 0) & ((best == 0) | (here < best)), here, best)
    return best
