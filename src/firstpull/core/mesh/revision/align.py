"""Where must a revision be laid so that it covers the other best?"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.revision.places import even_places
from firstpull.core.mesh.tree import Tree

PLACES = 6000  # looked at on the surface
ROUNDS = 60
KEPT = 0.7  # of the places, those that fit best: what was changed must not pull at the rest
FIRST_KEPT, FIRST_ROUNDS = 0.97, 25  # but to begin with nearly all: a box's ends are few places


@dataclass(frozen=True)
class Alignment:
    """How one mesh is laid onto another.

    Args:
        matrix: (4, 4) turn and shift to lay it there; the identity where it lay well.
        turned_deg: how far that turns it.
        shifted_mm: how far that moves its middle.
        off_mm: distance that seven of ten places then stay within.
    """

    matrix: Floats
    turned_deg: float
    shifted_mm: float
    off_mm: float


def aligned(mesh: Mesh, onto: Mesh, *, close_mm: float = 0.05) -> Alignment:
    """The turn and shift that lay a mesh onto another, size kept.

    Where most of it lies within ``close_mm`` of the other already it stays as it is: two
    revisions from one file need no turning. Otherwise it is tried as it lies, and with
    middles and principal axes laid on each other, each settled by closing the gaps along the
    normals, at first of nearly all places, then of the seven in ten that fit best.
    Deterministic.

    Source: point-to-plane settling after Chen and Medioni, Object modelling by registration
    of multiple range images (1992).
    """
    tree = Tree.of(onto)
    points = even_places(mesh, PLACES)[0]
    still = np.eye(4)
    if _off(points, tree) <= close_mm:
        return _told(mesh, still, points, tree)
    best, off = still, np.inf
    for start in (still, *_starts(mesh, onto)):
        settled = _settled(start, points, tree, onto)
        found = _off(_moved(points, settled), tree)
        if found < off - 1e-9:
            best, off = settled, found
        if off <= close_mm:
            break
    return _told(mesh, best, points, tree)


def _off(points: Floats, tree: Tree) -> float:
    return float(np.quantile(tree.closest(points)[0], KEPT))


def _moved(points: Floats, matrix: Floats) -> Floats:
    return np.asarray(points @ matrix[:3, :3].T + matrix[:3, 3])


def _starts(mesh: Mesh, onto: Mesh) -> list[Floats]:
    """Middles laid on each other, as it lies and with the principal axes matched."""
    (here, own), (there, other) = _frame(mesh), _frame(onto)
    turns = [np.eye(3)]
    for x, y in product((1.0, -1.0), repeat=2):
        turns.append(other @ np.diag([x, y, x * y]) @ own.T)
    return [_matrix(turn, there - turn @ here) for turn in turns]


def _frame(mesh: Mesh) -> tuple[Floats, Floats]:
    """The middle of the surface and its principal axes, right-handed."""
    points = even_places(mesh, PLACES)[0]
    middle = points.mean(axis=0)
    _, axes = np.linalg.eigh(np.cov((points - middle).T))
    if np.linalg.det(axes) < 0:
        axes[:, 0] *= -1.0
    return middle, axes


def _matrix(turn: Floats, shift: Floats) -> Floats:
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = turn, shift
    return matrix


def _settled(matrix: Floats, points: Floats, tree: Tree, onto: Mesh) -> Floats:
    """Small turns and shifts until nothing moves any more."""
    normals = onto.face_normals
    for number in range(ROUNDS):
        here = _moved(points, matrix)
        away, face, place = tree.closest(here)
        first = number < FIRST_ROUNDS
        kept = away <= np.quantile(away, FIRST_KEPT if first else KEPT)
        middle = here[kept].mean(axis=0)
        arm, way = here[kept] - middle, normals[face[kept]]
        gap = np.einsum("ij,ij->i", place[kept] - here[kept], way)
        columns = np.concatenate([np.cross(arm, way), way], axis=1)
        # ways in which the surface slides on itself are left alone
        change = np.linalg.lstsq(columns, gap, rcond=1e-8)[0]
        turn = _turn(change[:3])
        step = _matrix(turn, middle + change[3:] - turn @ middle)
        matrix = step @ matrix
        reach = float(np.linalg.norm(change[:3])) * float(np.abs(arm).max()) + float(
            np.linalg.norm(change[3:])
        )
        if reach < 1e-6 and not first:
            break
    return matrix


def _turn(vector: Floats) -> Floats:
    from scipy.spatial.transform import Rotation

    size = float(np.linalg.norm(vector))
    return np.asarray(Rotation.from_rotvec(vector * min(1.0, 0.5 / max(size, 1e-12))).as_matrix())


def _told(mesh: Mesh, matrix: Floats, points: Floats, tree: Tree) -> Alignment:
    from scipy.spatial.transform import Rotation

    middle = points.mean(axis=0)
    return Alignment(
        matrix=matrix,
        turned_deg=float(np.degrees(Rotation.from_matrix(matrix[:3, :3]).magnitude())),
        shifted_mm=float(np.linalg.norm(_moved(middle[None], matrix)[0] - middle)),
        off_mm=_off(_moved(points, matrix), tree),
    )
