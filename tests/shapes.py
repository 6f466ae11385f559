"""Meshes whose answers are known: closed forms, and shells whose outside is known by build.

All are closed and outward, in millimetres, z up. ``implicit_shell`` turns its shells by a
random rotation and says where up went.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation
from skimage.measure import marching_cubes

from firstpull.core.mesh.mesh import Mesh

Array = NDArray[np.float64]
FieldFunction = Callable[[Array], Array]

OUTSIDE, INSIDE, RIM = 0, 1, 2


# Closed forms


def box(wide: float, deep: float, high: float) -> Mesh:
    """A box on the board z = 0, centred over the origin."""
    x, y = wide / 2, deep / 2
    ring = np.array([[-x, -y], [x, -y], [x, y], [-x, y]])
    return _revolved_like(ring, [0.0, high])


def cylinder(radius: float, high: float, n: int = 96) -> Mesh:
    """A regular n-sided prism inscribed in the cylinder, on the board z = 0."""
    return _revolved_like(radius * _circle(n), [0.0, high])


def cone(radius: float, high: float, n: int = 96) -> Mesh:
    """A regular n-sided pyramid inscribed in the cone, on the board z = 0, its tip up."""
    rim = np.column_stack([radius * _circle(n), np.zeros(n)])
    vertices = np.vstack([rim, [[0, 0, 0], [0, 0, high]]])
    i = np.arange(n)
    j = (i + 1) % n
    base = np.column_stack([j, i, np.full(n, n)])
    side = np.column_stack([i, j, np.full(n, n + 1)])
    return Mesh(vertices, np.vstack([base, side]))


def hemisphere(radius: float, n: int = 96) -> Mesh:
    """Half a ball on the board z = 0, its vertices on the ball; n around, n / 4 up."""
    rows = max(n // 4, 2)
    up = np.linspace(0, np.pi / 2, rows + 1)[:-1]
    circle = _circle(n)
    rings = [
        np.column_stack([radius * np.cos(a) * circle, np.full(n, radius * np.sin(a))]) for a in up
    ]
    vertices = np.vstack([*rings, [[0, 0, 0], [0, 0, radius]]])
    i = np.arange(n)
    j = (i + 1) % n
    faces = [np.column_stack([j, i, np.full(n, rows * n)])]
    for row in range(rows - 1):
        low, high = row * n, (row + 1) * n
        faces.append(np.column_stack([low + i, low + j, high + j]))
        faces.append(np.column_stack([low + i, high + j, high + i]))
    last = (rows - 1) * n
    faces.append(np.column_stack([last + i, last + j, np.full(n, rows * n + 1)]))
    return Mesh(vertices, np.vstack(faces))


def torus(ring_radius: float, tube_radius: float, n: int = 96) -> Mesh:
    """A ring about z, its middle at z = 0; n around the ring, n / 2 around the tube."""
    m = max(n // 2, 3)
    a, b = np.meshgrid(2 * np.pi * np.arange(n) / n, 2 * np.pi * np.arange(m) / m, indexing="ij")
    r = ring_radius + tube_radius * np.cos(b)
    vertices = np.stack([r * np.cos(a), r * np.sin(a), tube_radius * np.sin(b)], axis=-1)
    i, j = np.meshgrid(np.arange(n), np.arange(m), indexing="ij")
    here, along = i * m + j, (i + 1) % n * m + j
    across, both = i * m + (j + 1) % m, (i + 1) % n * m + (j + 1) % m
    first = np.stack([here, along, both], axis=-1)
    second = np.stack([here, both, across], axis=-1)
    faces = np.concatenate([first.reshape(-1, 3), second.reshape(-1, 3)])
    return Mesh(vertices.reshape(-1, 3), faces)


def _circle(n: int) -> Array:
    angle = 2 * np.pi * np.arange(n) / n
    return np.column_stack([np.cos(angle), np.sin(angle)])


def _revolved_like(ring: Array, levels: list[float]) -> Mesh:
    """A prism over a convex ring, counter-clockwise, with fans at both ends."""
    n = len(ring)
    low = np.column_stack([ring, np.full(n, levels[0])])
    high = np.column_stack([ring, np.full(n, levels[1])])
    vertices = np.vstack([low, high, [[0, 0, levels[0]], [0, 0, levels[1]]]])
    i = np.arange(n)
    j = (i + 1) % n
    faces = [
        np.column_stack([i, j, n + j]),
        np.column_stack([i, n + j, n + i]),
        np.column_stack([j, i, np.full(n, 2 * n)]),
        np.column_stack([n + i, n + j, np.full(n, 2 * n + 1)]),
    ]
    return Mesh(vertices, np.vstack(faces))


# Shells whose outside is known


class Shell(NamedTuple):
    """A wall built around the zero of a field, and what is known of it by build.

    mesh: closed, outward. labels: (F,) OUTSIDE, INSIDE or RIM per face; the walls of openings
    count as rim. up: unit vector, away from the hollow. openings: holes through the wall,
    which is the genus of the mesh. wall_mm: thickness.
    """

    mesh: Mesh
    labels: NDArray[np.int8]
    up: Array
    openings: int
    wall_mm: float


class _Parts(NamedTuple):
    """A middle field, what is cut away (negative = kept), holes (negative = hole), a box."""

    middle: FieldFunction
    cut: FieldFunction
    holes: tuple[FieldFunction, ...]
    half_box: tuple[float, float, float]


@lru_cache(maxsize=32)
def implicit_shell(kind: str, seed: int = 0, triangles: int = 40_000) -> Shell:
    """A random shell of one kind: the same for the same kind, seed and triangle count.

    Args:
        kind: one of ``KINDS``.
        seed: sizes, waves, bulges, thickness and the turn all come from it.
        triangles: how many to aim for; a large shell gets more where its wall would be lost
            between grid points.
    """
    rng = np.random.default_rng([seed, sorted(KINDS).index(kind)])
    wall = float(rng.uniform(3.0, 4.5))
    parts = KINDS[kind](rng)
    fields = _bounding_fields(parts, wall)
    step = wall / 1.4
    _, faces = _contour(fields, parts.half_box, step)
    step = float(np.clip(step * np.sqrt(len(faces) / triangles), 0.4, step))
    vertices, faces = _contour(fields, parts.half_box, step)
    vertices = _settle(fields, vertices, step)
    mesh = _largest_body(Mesh(vertices, faces))
    labels = _labels(fields, mesh)
    turn = Rotation.random(random_state=int(rng.integers(2**31))) if seed else Rotation.identity()
    turned = Mesh(mesh.vertices_mm @ turn.as_matrix().T, mesh.faces)
    return Shell(turned, labels, turn.apply([0.0, 0.0, 1.0]), len(parts.holes), wall)


def _bounding_fields(parts: _Parts, wall: float) -> FieldFunction:
    """(N, 3) points -> (N, 3 or more) fields whose greatest value bounds the solid.

    In order: outside, inside, then whatever cuts. The middle field is divided by its slope,
    so that its level sets near zero lie at their distance.
    """

    def fields(points: Array) -> Array:
        f = parts.middle(points)
        e = 0.01
        slope = np.stack([parts.middle(points + e * axis) - f for axis in np.eye(3)], axis=1) / e
        away = f / np.maximum(np.linalg.norm(slope, axis=1), 0.4)
        away = np.where(np.abs(f) < 4 * wall, away, f)
        rims = [parts.cut(points)] + [-hole(points) for hole in parts.holes]
        return np.stack([away - wall / 2, -away - wall / 2, *rims], axis=1)

    return fields


def _contour(
    fields: FieldFunction, half_box: tuple[float, float, float], step: float
) -> tuple[Array, NDArray[np.int32]]:
    block = 4
    low = -np.array(half_box) - 0.137 * step  # no grid plane through the origin
    blocks = np.ceil(2 * np.array(half_box) / (step * block)).astype(int) + 1
    corner = np.stack(np.meshgrid(*(np.arange(n) for n in blocks), indexing="ij"), axis=-1)
    coarse = fields(low + (corner.reshape(-1, 3) + 0.5) * step * block).max(axis=1)
    values = coarse.astype(np.float32).reshape(blocks)
    for axis in range(3):
        values = np.repeat(values, block, axis)
    # a field rises by less than twice the way: blocks farther off hold no surface
    near = corner.reshape(-1, 3)[np.abs(coarse) < 2 * np.sqrt(3) * (block / 2 + 1) * step]
    inside = np.indices((block, block, block)).reshape(3, -1).T
    for part in np.array_split(near, max(len(near) // 2000, 1)):
        index = (part[:, None, :] * block + inside).reshape(-1, 3)
        values[tuple(index.T)] = fields(low + index * step).max(axis=1)
    slack = np.float32(1e-3 * step)
    np.copyto(values, slack, where=np.abs(values) < slack)
    vertices, faces, _, _ = marching_cubes(values, 0.0, gradient_direction="descent")
    return vertices.astype(np.float64) * step + low, faces.astype(np.int32)


def _settle(fields: FieldFunction, vertices: Array, step: float) -> Array:
    """Vertices moved onto the surface, but for those in a sharp edge's cell."""
    for _ in range(2):
        found = fields(vertices)
        order = np.sort(found, axis=1)
        clear = order[:, -1] - order[:, -2] > 1.5 * step
        value = order[:, -1]
        e = 1e-3
        slope = np.stack(
            [(fields(vertices + e * a).max(axis=1) - value) / e for a in np.eye(3)], axis=1
        )
        move = -slope * (value / np.maximum((slope**2).sum(axis=1), 1e-6))[:, None]
        move *= np.minimum(1.0, 0.2 * step / np.maximum(np.linalg.norm(move, axis=1), 1e-12))[
            :, None
        ]
        vertices = vertices + move * clear[:, None]
    return vertices


def _largest_body(mesh: Mesh) -> Mesh:
    ends = np.concatenate([mesh.faces[:, :2], mesh.faces[:, 1:]])
    count = len(mesh.vertices_mm)
    links = sparse.coo_matrix((np.ones(len(ends)), tuple(ends.T)), shape=(count, count))
    body = connected_components(links, directed=False)[1]
    of_face = body[mesh.faces[:, 0]]
    return mesh.with_faces(of_face == np.bincount(of_face).argmax())


def _labels(fields: FieldFunction, mesh: Mesh) -> NDArray[np.int8]:
    """Which field bounds the solid at each face's centre."""
    return np.minimum(fields(mesh.face_centres_mm).argmax(axis=1), RIM).astype(np.int8)


# Kinds of shell


def _ellipsoid(points: Array, axes: Array) -> Array:
    k0 = np.linalg.norm(points / axes, axis=1)
    k1 = np.linalg.norm(points / axes**2, axis=1)
    return k0 * (k0 - 1) / np.maximum(k1, 1e-9)


def _bulges(rng: np.random.Generator, count: int, reach: float, high: float) -> FieldFunction:
    """Smooth bumps over the xy plane."""
    at = rng.uniform(-reach, reach, size=(count, 2))
    size = rng.uniform(16, 26, size=count)
    height = rng.uniform(0.3, 1.0, size=count) * high * rng.choice([-1, 1], size=count)

    def raise_by(points: Array) -> Array:
        square = ((points[:, None, :2] - at) ** 2).sum(axis=2) / size**2
        return (height * np.exp(-square)).sum(axis=1)

    return raise_by


def _wave(rng: np.random.Generator, high: float) -> FieldFunction:
    """A rim height that goes up and down around z."""
    turns = np.array([2, 3, 5])
    phase = rng.uniform(0, 2 * np.pi, size=3)
    part = rng.uniform(0.3, 1.0, size=3) * high / turns

    def height(points: Array) -> Array:
        angle = np.arctan2(points[:, 1], points[:, 0])
        return (part * np.sin(turns * angle[:, None] + phase)).sum(axis=1)

    return height


def _slot(x: float, y: float, half_x: float, half_y: float, axis: int = 2) -> FieldFunction:
    """An elliptical hole along z (or y), through the upper (or forward) side only."""
    across = [0, 1] if axis == 2 else [0, 2]

    def hole(points: Array) -> Array:
        u = (points[:, across] - [x, y]) / [half_x, half_y]
        field = (np.linalg.norm(u, axis=1) - 1) * min(half_x, half_y)
        return np.maximum(field, -points[:, axis])

    return hole


def _dome(rng: np.random.Generator) -> _Parts:
    """Half a spherical shell on a flat rim: its areas have closed forms."""
    radius = float(rng.uniform(45, 70))
    return _Parts(
        lambda p: np.linalg.norm(p, axis=1) - radius, lambda p: -p[:, 2], (), (radius + 6,) * 3
    )


def _bowl(rng: np.random.Generator) -> _Parts:
    """An upturned bowl with bulges and a wavy rim."""
    axes = np.array([*rng.uniform(55, 80, 2), rng.uniform(40, 75)])
    bulge, wave = _bulges(rng, 5, 45, 5.0), _wave(rng, 14.0)
    return _Parts(
        lambda p: _ellipsoid(p, axes) - bulge(p) * (p[:, 2] > -20),
        lambda p: wave(p) + 4 - p[:, 2],
        (),
        (92, 92, 88),
    )


def _half_mask(rng: np.random.Generator) -> _Parts:
    """Brow to lip, two eyes, a hooked nose that overhangs."""
    axes = np.array([rng.uniform(78, 88), rng.uniform(58, 66), rng.uniform(58, 72)])
    wave, length = _wave(rng, 16.0), rng.uniform(24, 40)

    def middle(p: Array) -> Array:
        t = np.clip((p[:, 2] - axes[2] + 8) / length, 0, 1)
        drop = -10 - 16 * t**2
        nose = np.hypot(p[:, 0], p[:, 1] - drop) - (13 - 6 * t)
        nose = np.maximum(nose, p[:, 2] - axes[2] - length + 12)
        return _blend(_ellipsoid(p, axes), nose, 10.0)

    eyes = tuple(_slot(side * 33.0, 14.0, 15.0, 9.0) for side in (-1, 1))
    return _Parts(middle, lambda p: wave(p) + 14 - p[:, 2], eyes, (96, 76, 118))


def _full_mask(rng: np.random.Generator) -> _Parts:
    """A whole face: eyes, mouth, brow and cheek bulges."""
    axes = np.array([rng.uniform(72, 82), rng.uniform(95, 110), rng.uniform(70, 85)])
    bulge, wave = _bulges(rng, 7, 60, 6.0), _wave(rng, 18.0)
    holes = (
        _slot(-32.0, 22.0, 14.0, 8.0),
        _slot(32.0, 22.0, 14.0, 8.0),
        _slot(0.0, -48.0, 20.0, 6.0),
    )
    return _Parts(
        lambda p: _ellipsoid(p, axes) - bulge(p) * (p[:, 2] > 0),
        lambda p: wave(p) + 12 - p[:, 2],
        holes,
        (92, 122, 98),
    )


def _helmet(rng: np.random.Generator, slots: int) -> _Parts:
    """Wraps past the widest line; up is the crown, the slots look sideways."""
    axes = np.array([rng.uniform(78, 86), rng.uniform(92, 104), rng.uniform(90, 100)])
    wave, below = _wave(rng, 10.0), rng.uniform(30, 48)

    def middle(p: Array) -> Array:
        crest = np.exp(-((p[:, 0] / 9) ** 2)) * np.clip((p[:, 2] - 10) / 40, 0, 1)
        return _ellipsoid(p, axes) - 6.0 * crest

    holes = (
        (_slot(0.0, 8.0, 44.0, 8.0, axis=1),)
        if slots == 1
        else tuple(_slot(side * 32.0, 8.0, 18.0, 9.0, axis=1) for side in (-1, 1))
    )
    return _Parts(middle, lambda p: wave(p) - below - p[:, 2], holes, (100, 118, 114))


def _plate(rng: np.random.Generator) -> _Parts:
    """A breastplate: gently domed, bulged, with a wavy outline."""
    dome, bulge = rng.uniform(26, 44), _bulges(rng, 6, 60, 7.0)
    outline = _wave(rng, 16.0)

    def middle(p: Array) -> Array:
        r = (p[:, 0] / 95) ** 2 + (p[:, 1] / 105) ** 2
        return p[:, 2] - dome * (1 - r) - bulge(p)

    def cut(p: Array) -> Array:
        return np.hypot(p[:, 0], p[:, 1]) - 82 - outline(p)

    return _Parts(middle, cut, (), (112, 112, 70))


def _pauldron(rng: np.random.Generator) -> _Parts:
    """A shoulder cap: half a sphere that runs out into a trough, with a rolled ridge."""
    radius, wave = rng.uniform(55, 68), _wave(rng, 10.0)

    def middle(p: Array) -> Array:
        along = np.maximum(np.abs(p[:, 1] - 10) - 20, 0) * (p[:, 1] > 10)
        along += np.maximum(-10 - p[:, 1], 0) * (p[:, 1] <= 10)
        f = np.sqrt(p[:, 0] ** 2 + p[:, 2] ** 2 + along**2) - radius
        return f - 4.0 * np.exp(-(((p[:, 1] - 8) / 8) ** 2))

    return _Parts(middle, lambda p: wave(p) + 10 - p[:, 2], (), (82, 112, 82))


def _bracer(rng: np.random.Generator) -> _Parts:
    """Half a tapered tube, open at both ends, with a medallion."""
    radius, taper, boss = rng.uniform(38, 48), rng.uniform(0.08, 0.18), rng.uniform(3, 7)

    def middle(p: Array) -> Array:
        f = np.hypot(p[:, 0], p[:, 2]) - radius + taper * p[:, 1]
        return f - boss * np.exp(-(p[:, 0] ** 2 + p[:, 1] ** 2) / 20**2) * (p[:, 2] > 0)

    def cut(p: Array) -> Array:
        ends = np.abs(p[:, 1]) - 82 - 5 * np.sin(p[:, 0] / 14)
        return np.maximum(ends, 6 + 3 * np.sin(p[:, 1] / 17) - p[:, 2])

    return _Parts(middle, cut, (), (76, 98, 76))


def _snout(rng: np.random.Generator) -> _Parts:
    """An animal's mask: a long hollow snout at a slant, two round eyes, a nostril bulge."""
    slant, length = rng.uniform(0.35, 0.7), rng.uniform(50, 75)
    wave = _wave(rng, 12.0)
    axes = np.array([76.0, 80.0, 55.0])

    def middle(p: Array) -> Array:
        t = np.clip((p[:, 2] - 20) / length, 0, 1)
        x, y = p[:, 0], p[:, 1] + 12 + slant * np.maximum(p[:, 2] - 20, 0)
        tube = np.hypot(x, y) - (32 - 14 * t)
        end = p[:, 2] - 20 - length - 10
        return _blend(_ellipsoid(p, axes), -_blend(-tube, -end, 14.0), 14.0)

    eyes = tuple(_slot(side * 40.0, 26.0, 10.0, 10.0) for side in (-1, 1))
    return _Parts(middle, lambda p: wave(p) + 10 - p[:, 2], eyes, (90, 128, 122))


def _blend(a: Array, b: Array, size: float) -> Array:
    """Union with a fillet."""
    h = np.maximum(size - np.abs(a - b), 0) / size
    return np.minimum(a, b) - h**3 * size / 6


KINDS: dict[str, Callable[[np.random.Generator], _Parts]] = {
    "dome": _dome,
    "bowl": _bowl,
    "half-mask": _half_mask,
    "full mask": _full_mask,
    "helmet, one slot": lambda rng: _helmet(rng, 1),
    "helmet, two slots": lambda rng: _helmet(rng, 2),
    "plate": _plate,
    "pauldron": _pauldron,
    "bracer": _bracer,
    "snout": _snout,
}


# What no sound solid has


def self_crossings(mesh: Mesh) -> int:
    """How many times an edge passes through a face that it shares no corner with.

    Every edge against every face whose centre is in reach, by Möller and Trumbore's test;
    faces that only touch do not count.
    """
    corners = mesh.corners_mm
    centres = mesh.face_centres_mm
    radius = np.linalg.norm(corners - centres[:, None], axis=2).max(axis=1)
    edges = np.sort(
        np.concatenate([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]]]),
        axis=1,
    )
    edges = np.unique(edges, axis=0)
    tail, head = mesh.vertices_mm[edges[:, 0]], mesh.vertices_mm[edges[:, 1]]
    half = np.linalg.norm(head - tail, axis=1) / 2
    tree, count = cKDTree(centres), 0
    for part in np.array_split(np.arange(len(edges)), max(len(edges) // 40_000, 1)):
        near = tree.query_ball_point((tail + head)[part] / 2, half[part] + radius.max())
        edge = np.repeat(part, [len(n) for n in near])
        face = np.concatenate([np.asarray(n, dtype=int) for n in near])
        apart = (edges[edge][:, :, None] != mesh.faces[face][:, None, :]).all(axis=(1, 2))
        edge, face = edge[apart], face[apart]
        count += int(_pierces(tail[edge], head[edge] - tail[edge], corners[face]).sum())
    return count


def _pierces(start: Array, way: Array, corners: Array) -> NDArray[np.bool_]:
    one, two = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    across = np.cross(way, two)
    turn = np.einsum("ij,ij->i", one, across)
    flat = np.abs(turn) < 1e-12
    turn = np.where(flat, 1.0, turn)
    offset = start - corners[:, 0]
    u = np.einsum("ij,ij->i", offset, across) / turn
    lift = np.cross(offset, one)
    v = np.einsum("ij,ij->i", way, lift) / turn
    t = np.einsum("ij,ij->i", two, lift) / turn
    return ~flat & (u > 0) & (v > 0) & (u + v < 1) & (t > 0) & (t < 1)
