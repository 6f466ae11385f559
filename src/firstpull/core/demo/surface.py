"""Where is a field zero? A mirrored surface, finely meshed only where the surface runs.

A coarse pass tells which blocks the surface can reach; only those are sampled finely. The half
x >= 0 is meshed and mirrored, so left and right agree to the last bit. Marching cubes leaves
slivers and lies a little off the surface: the vertices are evened out along the surface and
then moved onto it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse
from skimage.measure import marching_cubes

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.mesh import Mesh

FieldFunction = Callable[[Floats], Floats]
"""(N, 3) points in mm -> (N,) distance-like values in mm, negative inside."""

BLOCK = 4  # fine steps in a coarse one
PROBE_MM = 1e-3
STEEPEST_FOLD = 0.2  # cosine between a face and the surface around its corner


def mirrored_surface(
    field: FieldFunction,
    *,
    low_mm: ArrayLike,
    high_mm: ArrayLike,
    triangles: int,
    steepest: float = 2.0,
) -> Mesh:
    """The closed surface of {field <= 0}, the same on both sides of x = 0.

    Args:
        field: the same at (x, y, z) and (-x, y, z); only x >= 0 is asked for.
        low_mm, high_mm: a box around the half x >= 0; ``low_mm[0]`` is taken as 0.
        triangles: how many to aim for; met within a few per cent.
        steepest: the largest slope of the field, so that no block is skipped wrongly.

    Returns:
        A closed mesh, outward, with mirrored vertices and triangles.
    """
    low = np.asarray(low_mm, dtype=np.float64) * [0.0, 1.0, 1.0]
    span = np.asarray(high_mm, dtype=np.float64) - low
    step = 2.0
    for _ in range(1 if triangles > 60_000 else 2):  # triangles go with 1 / step squared, nearly
        step *= np.sqrt(2.0 * len(_half(field, low, span, step, steepest)[1]) / triangles)
    vertices, faces = _half(field, low, span, float(step), steepest)
    return _mirrored(_settled(field, vertices, faces), faces)


def _half(
    field: FieldFunction, low: Floats, span: Floats, step: float, steepest: float
) -> tuple[Floats, NDArray[np.int32]]:
    """Marching cubes over the half x >= 0, which stays open along x = 0."""
    values = _sampled(field, low, span, step, steepest)
    vertices, faces, _, _ = marching_cubes(values, 0.0, gradient_direction="descent")
    return vertices.astype(np.float64) * step + low, faces.astype(np.int32)


def _sampled(
    field: FieldFunction, low: Floats, span: Floats, step: float, steepest: float
) -> NDArray[np.float32]:
    """The field on a grid: exact in blocks near the surface, elsewhere right in sign."""
    blocks = np.ceil(span / (step * BLOCK)).astype(int)
    corner = np.stack(np.meshgrid(*(np.arange(n) for n in blocks), indexing="ij"), axis=-1)
    middle = low + (corner.reshape(-1, 3) + 0.5) * (step * BLOCK)
    coarse = field(middle).reshape(tuple(blocks))
    reach = steepest * step * (BLOCK / 2 + 1) * np.sqrt(3.0)
    values = np.repeat(np.repeat(np.repeat(coarse, BLOCK, 0), BLOCK, 1), BLOCK, 2)
    values = values.astype(np.float32)
    for layer in range(blocks[0]):  # layer by layer: the points of all would fill the memory
        near = np.argwhere(np.abs(coarse[layer]) <= reach)
        if not len(near):
            continue
        inside = np.indices((BLOCK, BLOCK, BLOCK)).reshape(3, -1).T
        first = np.concatenate([np.full((len(near), 1), layer), near], axis=1) * BLOCK
        index = (first[:, None, :] + inside).reshape(-1, 3)
        found = field(low + index * step).astype(np.float32)
        values[index[:, 0], index[:, 1], index[:, 2]] = found
    slack = np.float32(step * 0.03)  # a value next to zero makes a sliver
    np.copyto(values, slack, where=np.abs(values) < slack)
    return values


def _settled(field: FieldFunction, vertices: Floats, faces: NDArray[np.int32]) -> Floats:
    """Vertices evened out along the surface, then moved onto it; those at x = 0 stay there."""
    first, seam = vertices, vertices[:, 0] == 0.0
    mean = _neighbour_mean(faces, len(vertices))
    for _ in range(3):
        _, normals = _value_and_slope(field, vertices, seam)
        normals /= np.linalg.norm(normals, axis=1, keepdims=True)
        pull = mean @ vertices - vertices
        pull -= normals * np.einsum("ij,ij->i", pull, normals)[:, None]
        vertices = vertices + 0.5 * pull * ~seam[:, None]
        vertices = _onto(field, vertices, seam)
    return _unfolded(_onto(field, vertices, seam), first, faces)


def _unfolded(vertices: Floats, first: Floats, faces: NDArray[np.int32]) -> Floats:
    """Vertices put back where marching cubes had them wherever moving has folded the surface.

    At edges rounder than the grid can show, Newton's steps overshoot and leave spikes.
    """
    vertices = vertices.copy()
    for _ in range(8):
        folded = _folded(vertices, faces)
        if not len(folded):
            break
        touched = np.zeros(len(vertices), dtype=bool)
        touched[faces[folded]] = True
        around = touched[faces].any(axis=1)  # one ring more, lest the fold move on
        touched[faces[around]] = True
        vertices[touched] = first[touched]
    return vertices


def _folded(vertices: Floats, faces: NDArray[np.int32]) -> NDArray[np.int64]:
    """Faces that turn back on the mean direction of the faces around their corners."""
    corners = vertices[faces]
    square = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(square, axis=1)
    at_corner = np.zeros_like(vertices)
    for axis in range(3):
        for corner in range(3):
            at_corner[:, axis] += np.bincount(
                faces[:, corner], weights=square[:, axis], minlength=len(vertices)
            )
    at_corner /= np.maximum(np.linalg.norm(at_corner, axis=1), 1e-12)[:, None]
    agree = np.einsum("ij,ikj->ik", square, at_corner[faces]).min(axis=1)
    folded: NDArray[np.int64] = np.flatnonzero(agree < STEEPEST_FOLD * length)
    return folded


def _onto(field: FieldFunction, vertices: Floats, seam: Flags) -> Floats:
    """One Newton step toward the surface, a quarter of a millimetre at the most."""
    value, slope = _value_and_slope(field, vertices, seam)
    step = -slope * (value / np.einsum("ij,ij->i", slope, slope))[:, None]
    length = np.linalg.norm(step, axis=1, keepdims=True)
    moved: Floats = vertices + step * np.minimum(1.0, 0.25 / np.maximum(length, 1e-12))
    return moved


def _value_and_slope(field: FieldFunction, points: Floats, seam: Flags) -> tuple[Floats, Floats]:
    slope = np.empty_like(points)
    for axis in range(3):
        offset = np.zeros(3)
        offset[axis] = PROBE_MM
        slope[:, axis] = (field(points + offset) - field(points - offset)) / (2 * PROBE_MM)
    slope[seam, 0] = 0.0
    return field(points), slope


def _neighbour_mean(faces: NDArray[np.int32], count: int) -> sparse.csr_matrix:
    """A matrix that gives each vertex the mean of its neighbours."""
    tail = np.concatenate([faces[:, 0], faces[:, 1], faces[:, 2]])
    head = np.concatenate([faces[:, 1], faces[:, 2], faces[:, 0]])
    ones = np.ones(2 * len(tail))
    ends = (np.concatenate([tail, head]), np.concatenate([head, tail]))
    joined = sparse.csr_matrix((ones, ends), shape=(count, count))
    joined.data[:] = 1.0
    return sparse.diags(1.0 / joined.sum(axis=1).A1) @ joined


def _mirrored(vertices: Floats, faces: NDArray[np.int32]) -> Mesh:
    """The half joined with its mirror image along x = 0."""
    seam = vertices[:, 0] == 0.0
    twin = np.where(seam, np.arange(len(vertices)), len(vertices) + np.cumsum(~seam) - 1)
    other = vertices[~seam] * [-1.0, 1.0, 1.0]
    return Mesh(np.concatenate([vertices, other]), np.concatenate([faces, twin[faces][:, ::-1]]))
