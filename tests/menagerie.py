"""Broken and whole meshes, built by code; each broken one has a defect planted in a known place."""

from __future__ import annotations

import numpy as np

from firstpull.core.mesh.mesh import Mesh, joined


def ball(*, radius_mm: float = 60.0, rings: int = 24, at: tuple[float, ...] = (0, 0, 0)) -> Mesh:
    """A ball of latitude rings with two poles, outward."""
    return Mesh(*_turned_profile(_arc(radius_mm, rings, np.pi), 2 * rings)).moved(_shift(at))


def dome(*, radius_mm: float = 80.0, rings: int = 40) -> Mesh:
    """An open half ball over z = 0, looking outward."""
    vertices, faces = _turned_profile(_arc(radius_mm, rings, np.pi / 2), 4 * rings)
    return Mesh(vertices, faces)


def cone(*, radius_mm: float = 20.0, high_mm: float = 100.0, rings: int = 40) -> Mesh:
    """An open cone with its tip up and no floor."""
    t = np.linspace(0.0, 1.0, rings + 1)
    return Mesh(*_turned_profile(np.stack([radius_mm * t, high_mm * (1 - t)], axis=1), 128))


def box(*, size_mm: tuple[float, ...] = (60, 50, 40), at: tuple[float, ...] = (0, 0, 0)) -> Mesh:
    """A box of twelve triangles with one corner at ``at``."""
    corners = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
    quads = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return Mesh(corners * np.array(size_mm) + np.array(at), faces)


def divided(mesh: Mesh, times: int = 1) -> Mesh:
    """Each triangle cut into four, shared vertices kept shared."""
    for _ in range(times):
        f = mesh.faces.astype(np.int64)
        sides = np.sort(np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]]), axis=1)
        ends, place = np.unique(sides, axis=0, return_inverse=True)
        ab, bc, ca = np.split(place.ravel() + len(mesh.vertices_mm), 3)
        middles = mesh.vertices_mm[ends].mean(axis=1)
        parts = [(f[:, 0], ab, ca), (ab, f[:, 1], bc), (ca, bc, f[:, 2]), (ab, bc, ca)]
        mesh = Mesh(
            np.concatenate([mesh.vertices_mm, middles]),
            np.concatenate([np.stack(p, axis=1) for p in parts]),
        )
    return mesh


def open_box(*, times: int = 2) -> Mesh:
    """The box without its lid at the highest z."""
    whole = divided(box(), times)
    return whole.with_faces(whole.face_normals[:, 2] < 0.5)


def soup(mesh: Mesh) -> Mesh:
    """The same triangles, each with corners of its own."""
    return Mesh(mesh.corners_mm.reshape(-1, 3), np.arange(3 * len(mesh.faces)).reshape(-1, 3))


def without(mesh: Mesh, *faces: int) -> Mesh:
    """The mesh with some faces missing."""
    keep = np.ones(len(mesh.faces), dtype=bool)
    keep[list(faces)] = False
    return Mesh(mesh.vertices_mm, mesh.faces[keep])


def with_turned(mesh: Mesh, *faces: int) -> Mesh:
    """The mesh with some faces turned over."""
    changed = mesh.faces.copy()
    changed[list(faces)] = changed[list(faces)][:, ::-1]
    return Mesh(mesh.vertices_mm, changed)


def with_repeated(mesh: Mesh, *faces: int) -> Mesh:
    """The mesh with some faces there twice."""
    return Mesh(mesh.vertices_mm, np.concatenate([mesh.faces, mesh.faces[list(faces)]]))


def with_collapsed(mesh: Mesh, count: int = 3) -> Mesh:
    """The mesh with some triangles added that have two corners in one vertex."""
    extra = [[k, k, k + 1] for k in range(count)]
    return Mesh(mesh.vertices_mm, np.concatenate([mesh.faces, extra]))


def with_inner_wall() -> Mesh:
    """A ball with a disc across its equator: three faces at each edge of the rim."""
    whole = ball(rings=24)
    n = 48
    rim = 1 + 11 * n + np.arange(n)  # the twelfth ring lies on the equator
    centre = len(whole.vertices_mm)
    disc = np.stack([rim, np.roll(rim, -1), np.full(n, centre)], axis=1)
    return Mesh(
        np.concatenate([whole.vertices_mm, [[0.0, 0.0, 0.0]]]),
        np.concatenate([whole.faces, disc]),
    )


def touching_boxes() -> Mesh:
    """Two boxes that share one edge's vertices: four faces meet along it."""
    from firstpull.core.mesh.weld import welded

    return welded(joined([box(), box(at=(60, 50, 0))]))


def pinched() -> Mesh:
    """One body of five cubes that touches itself along an edge; the cubes share vertices.

    Two lower cubes meet only in an edge; three upper ones join them.
    """
    cells = {(0, 0, 0), (1, 1, 0), (0, 0, 1), (1, 0, 1), (1, 1, 1)}
    corners: dict[tuple[int, ...], int] = {}
    faces = []
    unit = box(size_mm=(1, 1, 1))
    for cell in sorted(cells):
        for face, normal in zip(unit.faces, unit.face_normals, strict=True):
            if tuple(np.add(cell, normal.round().astype(int)).tolist()) in cells:
                continue
            spots = (np.array(cell) + unit.vertices_mm[face]).astype(int).tolist()
            faces.append([corners.setdefault(tuple(spot), len(corners)) for spot in spots])
    return Mesh(40.0 * np.array(list(corners)), faces)


def twisted_strip(*, steps: int = 60) -> Mesh:
    """A strip with a half twist, joined end to end: it has one side."""
    t = np.linspace(0.0, 2 * np.pi, steps, endpoint=False)
    rows = []
    for s in (-10.0, 10.0):
        radius = 60.0 + s * np.cos(t / 2)
        rows.append(np.stack([radius * np.cos(t), radius * np.sin(t), s * np.sin(t / 2)], axis=1))
    a, b = np.arange(steps), np.arange(steps) + steps
    a1, b1 = np.roll(a, -1), np.roll(b, -1)
    a1[-1], b1[-1] = b[0], a[0]
    faces = np.concatenate([np.stack([a, a1, b], axis=1), np.stack([b, a1, b1], axis=1)])
    return Mesh(np.concatenate(rows), faces)


def hourglass() -> Mesh:
    """Two pyramids that share only the vertex at their tips."""
    floor = [[-30, -30], [30, -30], [30, 30], [-30, 30]]
    vertices = [[0, 0, 0], *([x, y, -60] for x, y in floor), *([x, y, 60] for x, y in floor)]
    lower = [[0, 1, 2], [0, 2, 3], [0, 3, 4], [0, 4, 1], [1, 3, 2], [1, 4, 3]]
    upper = [[0, 6, 5], [0, 7, 6], [0, 8, 7], [0, 5, 8], [5, 6, 7], [5, 7, 8]]
    return Mesh(vertices, lower + upper)


def scrap(at: tuple[float, ...] = (150, 0, 0)) -> Mesh:
    """One triangle of 2 mm, far from everything."""
    return Mesh(np.array([[0, 0, 0], [2, 0, 0], [0, 2, 0]]) + np.array(at), [[0, 1, 2]])


def turning(
    degrees: float, axis: tuple[float, float, float], shift: tuple[float, ...]
) -> np.ndarray:
    """A 4x4 matrix that turns around an axis and shifts."""
    x, y, z = np.array(axis) / np.linalg.norm(axis)
    k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    a = np.radians(degrees)
    matrix = np.eye(4)
    matrix[:3, :3] += np.sin(a) * k + (1 - np.cos(a)) * k @ k
    matrix[:3, 3] = shift
    return matrix


def _shift(at: tuple[float, ...]) -> np.ndarray:
    matrix = np.eye(4)
    matrix[:3, 3] = at
    return matrix


def _arc(radius: float, rings: int, to: float) -> np.ndarray:
    t = np.linspace(0.0, to, rings + 1)
    return np.stack([radius * np.sin(t), radius * np.cos(t)], axis=1)


def _turned_profile(profile: np.ndarray, around: int) -> tuple[np.ndarray, np.ndarray]:
    """A profile (radius, height) from a pole downward, turned around z; closed at a last pole."""
    angle = np.linspace(0.0, 2 * np.pi, around, endpoint=False)
    ends_at_pole = abs(profile[-1, 0]) < 1e-9
    rings = profile[1:-1] if ends_at_pole else profile[1:]
    vertices = [np.array([[0.0, 0.0, profile[0, 1]]])]
    for radius, height in rings:
        ring = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
        vertices.append(np.column_stack([ring, np.full(around, height)]))
    j = np.arange(around)
    nxt = np.roll(j, -1)
    faces = [np.stack([np.zeros(around, int), 1 + j, 1 + nxt], axis=1)]
    for i in range(len(rings) - 1):
        a, b = 1 + i * around + j, 1 + i * around + nxt
        faces += [
            np.stack([a, a + around, b + around], axis=1),
            np.stack([a, b + around, b], axis=1),
        ]
    if ends_at_pole:
        last = 1 + (len(rings) - 1) * around
        pole = np.full(around, last + around)
        faces.append(np.stack([last + j, pole, last + nxt], axis=1))
        vertices.append(np.array([[0.0, 0.0, profile[-1, 1]]]))
    return np.concatenate(vertices), np.concatenate(faces)
