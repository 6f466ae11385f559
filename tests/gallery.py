"""A gallery of what makers mould: each shape built the same way every time, by name.

Masks and helmets from heads, the project's own helmet and half-mask, armour plates, cops,
horns, open meshes of strangers, and random shells made of blobs. Every shape says which way
is up, or leaves it to be found, and in how many pieces its shell is to be tried.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

import headmasks
import shapes
from firstpull.core.demo import beetle_helmet, heron_half_mask
from firstpull.core.mesh.mending.mend import mend
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.revision.simplify import simplified
from registry_meshes import MESHES, registry_mesh

Array = NDArray[np.float64]
Field = Callable[[Array, Array, Array], Array]
Direction = tuple[float, float, float]

UP_Z: Direction = (0.0, 0.0, 1.0)
UP_Y: Direction = (0.0, 1.0, 0.0)
STEP_MM = 3.0
WALL_MM = 5.0  # a wall needs 1.5 steps at least


@dataclass(frozen=True)
class Exhibit:
    """One shape of the gallery.

    Args:
        name: what it is.
        make: builds the closed mesh; skips the calling test where what it needs is absent.
        up: away from the board in the mesh's axes; None is left to be found.
        pieces: in how many pieces its shell is tried.
        refused: part of the sentence with which it is refused; None is moulded.
    """

    name: str
    make: Callable[[], Mesh]
    up: Direction | None = None
    pieces: tuple[int, ...] = (2,)
    refused: str | None = None


# From heads


@lru_cache(maxsize=3)
def _head(name: str) -> tuple[Array, list[Array]]:
    """Distance to a head on a grid whose origin is the tip of the nose, and the grid's axes."""
    import trimesh

    raw = trimesh.load(headmasks.head_path(name), process=False)
    faces = np.array(raw.faces)
    vertices = np.array(raw.vertices) - headmasks._nose_tip(np.array(raw.vertices))
    low, high = np.array([-118.0, -128.0, -262.0]), np.array([118.0, 178.0, 38.0])
    axes = [np.arange(a, b + STEP_MM, STEP_MM) for a, b in zip(low, high, strict=True)]
    away = headmasks._distance(vertices, faces, axes, 34.0)
    return ndimage.gaussian_filter(away, 1.0), axes


def _of_head(name: str, offset_mm: float, cut: Field, holes: tuple[Field, ...]) -> Mesh:
    """A wall at an offset from the head where ``cut`` is negative, without the holes."""
    away, axes = _head(name)
    x, y, z = np.meshgrid(*axes, indexing="ij", sparse=True)
    wall = np.maximum(away - offset_mm - WALL_MM, offset_mm - away)
    wall = np.maximum(wall, cut(x, y, z))
    for hole in holes:
        wall = np.maximum(wall, -hole(x, y, z))
    return headmasks._solid(wall, np.array([a[0] for a in axes]), STEP_MM)


def _eye_of_mask(x: Array, y: Array, z: Array) -> Array:
    oval = 10.0 * (np.hypot((np.abs(x) - 32.0) / 17.0, (y - 42.0) / 10.0) - 1.0)
    return np.maximum(oval, -75.0 - z)


def _face_mask(name: str) -> Mesh:
    """The whole face: a wavy edge before the ears."""
    return _of_head(name, 8.0, headmasks._cut, (_eye_of_mask,))


def _half_mask(name: str, tilt: float) -> Mesh:
    """Brow to upper lip, the back of it leaning."""

    def cut(x: Array, y: Array, z: Array) -> Array:
        back = -78.0 + tilt * (y - 40.0) + 4.0 * np.sin(y / 17.0) - z
        low = -14.0 - 0.10 * np.abs(x) - y
        return np.maximum(np.maximum(back, low), y - 92.0 + 0.0016 * x * x)

    return _of_head(name, 7.0, cut, (_eye_of_mask,))


def _blank_mask(name: str, turn: float) -> Mesh:
    """A face without openings, cut along a leaning wavy sheet and straight under the chin."""

    def cut(x: Array, y: Array, z: Array) -> Array:
        back = -84.0 + turn * x + 5.0 * np.cos(y / 26.0) - z
        return np.maximum(np.maximum(back, -78.0 - y), y - 88.0)

    return _of_head(name, 9.0, cut, ())


def _head_helmet(name: str, low: float) -> Mesh:
    """A close helmet over the whole head, cut at the neck, a slot for the eyes."""

    def cut(x: Array, y: Array, z: Array) -> Array:
        return low + 0.10 * (z + 110.0) + 4.0 * np.cos(x / 30.0) - y

    def slot(x: Array, y: Array, z: Array) -> Array:
        oval = 15.0 * (np.hypot(x / 66.0, (y - 42.0) / 15.0) - 1.0)
        return np.maximum(oval, -90.0 - z)

    return simplified(_of_head(name, 16.0, cut, (slot,)), tol_mm=0.1).mesh


# Walls around a middle surface


def _walled(
    middle: Field,
    cut: Field,
    half_box: tuple[float, float, float],
    *,
    wall_mm: float = WALL_MM,
    step_mm: float = STEP_MM,
) -> Mesh:
    """A wall of even thickness around the zero of a field, where another one is negative."""
    low = -np.array(half_box)
    axes = [np.arange(a, -a + step_mm, step_mm) + 0.0917 * step_mm for a in low]
    x, y, z = np.meshgrid(*axes, indexing="ij")
    f = middle(x, y, z)
    e = 0.01
    slope = np.sqrt(
        sum(
            ((middle(x + e * a, y + e * b, z + e * c) - f) / e) ** 2
            for a, b, c in np.eye(3).tolist()
        )
    )
    wall = np.abs(f / np.maximum(slope, 0.4)) - 0.5 * wall_mm
    return headmasks._solid(np.maximum(wall, cut(x, y, z)), np.array([a[0] for a in axes]), step_mm)


def _round_edge(x: Array, y: Array, half_x: float, half_y: float, corner: float) -> Array:
    """Distance in plan from a rectangle with round corners."""
    u, v = np.abs(x) - half_x + corner, np.abs(y) - half_y + corner
    outside = np.hypot(np.maximum(u, 0), np.maximum(v, 0))
    return outside + np.minimum(np.maximum(u, v), 0) - corner


def _plate(height: Field, half_x: float, half_y: float, corner: float = 25.0) -> Mesh:
    """An armour plate: a wall along z = height(x, y), with round corners."""
    return _walled(
        lambda x, y, z: z - height(x, y, z),
        lambda x, y, z: _round_edge(x, y, half_x, half_y, corner),
        (half_x + 9.0, half_y + 9.0, 75.0),
    )


def _spherical(x: Array, y: Array, z: Array) -> Array:
    return np.sqrt(np.maximum(130.0**2 - x * x - y * y, 0.0)) - 95.0


def _saddle(x: Array, y: Array, z: Array) -> Array:
    return 16.0 - x * x / 210.0 + y * y / 330.0


def _ridged(x: Array, y: Array, z: Array) -> Array:
    return 26.0 - (x * x + y * y) / 320.0 + 4.0 * np.cos(y / 5.2) * (np.abs(y) < 62)


def _bossed(x: Array, y: Array, z: Array) -> Array:
    boss = 22.0 / (1.0 + np.exp((np.hypot(x, y - 12.0) - 24.0) / 2.6))
    return 18.0 - (x * x + 0.6 * y * y) / 300.0 + boss


def _prowed(x: Array, y: Array, z: Array) -> Array:
    return 38.0 - 0.5 * np.sqrt(x * x + 30.0) - y * y / 420.0 + 5.0 * np.sin(y / 19.0)


def _shoulder_cop(x: Array, y: Array, z: Array) -> Array:
    lames = 3.0 * np.clip(np.sin(y / 7.0) * 2.0, -1, 1)
    return np.sqrt((x / 62.0) ** 2 + (y / 88.0) ** 2 + (z / 66.0) ** 2) * 66.0 - 66.0 + lames


def _knee_cop(x: Array, y: Array, z: Array) -> Array:
    point = 16.0 * np.exp(-(x**2 + y**2) / 22.0**2)
    wing = 20.0 * np.exp(-(((x - 55.0) / 24.0) ** 2) - (y / 30.0) ** 2)
    return np.sqrt((x / 70.0) ** 2 + (y / 60.0) ** 2 + (z / 55.0) ** 2) * 55.0 - 55.0 - point - wing


def _cop(middle: Field, low: float, half_box: tuple[float, float, float]) -> Mesh:
    return _walled(middle, lambda x, y, z: low + 5.0 * np.sin(x / 21.0) - z, half_box)


def _horn(lean: float, curl: float, *, hollow: bool) -> Mesh:
    """A horn on its root: tapered, leaning ever more, ringed; solid or a wall with a rim."""

    def middle(x: Array, y: Array, z: Array) -> Array:
        t = np.clip((z + 80.0) / 160.0, 0.0, 1.0)
        off = lean * t + curl * t * t
        radius = 34.0 - 25.0 * t + 1.2 * np.sin(z / 4.5)
        tip = np.maximum(z - 74.0, 0.0)
        return np.sqrt((x - off) ** 2 + y * y + 2.5 * tip * tip) - radius

    def cut(x: Array, y: Array, z: Array) -> Array:
        return -78.0 - z

    if hollow:
        return _walled(middle, cut, (95.0, 48.0, 96.0))
    axes = [np.arange(-a, a + STEP_MM, STEP_MM) + 0.3 for a in (95.0, 48.0, 96.0)]
    x, y, z = np.meshgrid(*axes, indexing="ij")
    return headmasks._solid(
        np.maximum(middle(x, y, z), cut(x, y, z)), np.array([a[0] for a in axes]), STEP_MM
    )


def _blobs(seed: int) -> Mesh:
    """A random smooth sum of blobs as a wall, cut by a leaning plane through its lower part."""
    rng = np.random.default_rng([seed, 17])
    count = int(rng.integers(4, 8))
    at = rng.normal(size=(count, 3))
    at *= (rng.uniform(14.0, 44.0, size=count) / np.linalg.norm(at, axis=1))[:, None]
    at[:, 2] = np.abs(at[:, 2]) - 10.0
    size = rng.uniform(30.0, 46.0, size=count)
    lean = rng.uniform(-0.25, 0.25, size=2)

    def middle(x: Array, y: Array, z: Array) -> Array:
        total = sum(
            np.exp(-((x - a) ** 2 + (y - b) ** 2 + (z - c) ** 2) / s**2)
            for (a, b, c), s in zip(at.tolist(), size.tolist(), strict=True)
        )
        return -22.0 * np.log(np.maximum(total, 1e-9) / 0.5)

    def cut(x: Array, y: Array, z: Array) -> Array:
        return lean[0] * x + lean[1] * y - 12.0 - z

    return _walled(middle, cut, (110.0, 110.0, 100.0))


def _stranger(name: str) -> Mesh:
    return mend(registry_mesh(next(m for m in MESHES if m.name == name)), wall_mm=3.0).mesh


def _shell(kind: str, seed: int) -> Mesh:
    """A shell of ``shapes.KINDS``, turned back to stand z up."""
    made = shapes.implicit_shell(kind, seed, 20_000)
    from scipy.spatial.transform import Rotation

    turn = Rotation.align_vectors([[0.0, 0.0, 1.0]], [made.up])[0].as_matrix()
    return Mesh(made.mesh.vertices_mm @ turn.T, made.mesh.faces)


def _beetle() -> Mesh:
    return simplified(beetle_helmet(triangles=120_000), tol_mm=0.25).mesh


def _heron() -> Mesh:
    return simplified(heron_half_mask(triangles=60_000), tol_mm=0.1).mesh


GALLERY: tuple[Exhibit, ...] = (
    *(Exhibit(f"face {h[5:8]}", partial(_face_mask, h)) for h in headmasks.HEADS),
    *(
        Exhibit(f"half-mask {h[5:8]}", partial(_half_mask, h, tilt), pieces=(1,))
        for h, tilt in zip(headmasks.HEADS, (0.0, 0.25, -0.2), strict=True)
    ),
    *(
        Exhibit(f"blank mask {h[5:8]}", partial(_blank_mask, h, turn))
        for h, turn in zip(headmasks.HEADS, (0.0, 0.12, -0.2), strict=True)
    ),
    *(
        Exhibit(f"close helmet {h[5:8]}", partial(_head_helmet, h, low), up=UP_Y)
        for h, low in zip(headmasks.HEADS, (-98.0, -84.0, -104.0), strict=True)
    ),
    Exhibit("warden's helmet", _beetle, up=UP_Y),
    Exhibit("heron half-mask", _heron),
    Exhibit("spherical plate", partial(_plate, _spherical, 80.0, 80.0, 50.0), pieces=(1,)),
    Exhibit("saddle plate", partial(_plate, _saddle, 60.0, 80.0)),
    Exhibit("ridged plate", partial(_plate, _ridged, 70.0, 80.0), pieces=(1,)),
    Exhibit("bossed plate", partial(_plate, _bossed, 65.0, 85.0), pieces=(1,)),
    Exhibit("prowed plate", partial(_plate, _prowed, 75.0, 95.0, 40.0)),
    Exhibit("shoulder cop", partial(_cop, _shoulder_cop, 8.0, (78.0, 100.0, 82.0))),
    Exhibit("knee cop", partial(_cop, _knee_cop, 6.0, (102.0, 82.0, 92.0)), pieces=(1, 3)),
    Exhibit("bracer", partial(_shell, "bracer", 3), up=UP_Z),
    Exhibit("pauldron", partial(_shell, "pauldron", 1), up=UP_Z),
    Exhibit("snout", partial(_shell, "snout", 2), up=UP_Z, pieces=(1, 2)),
    Exhibit("two-slot helmet", partial(_shell, "helmet, two slots", 2), up=UP_Z),
    Exhibit("hollow horn", partial(_horn, 10.0, 40.0, hollow=True), up=UP_Z),
    Exhibit("solid horn", partial(_horn, 0.0, 34.0, hollow=False), pieces=(1,)),
    *(Exhibit(f"blobs {seed}", partial(_blobs, seed)) for seed in range(1, 7)),
    *(
        Exhibit(f"stranger: {name}", partial(_stranger, name))
        for name in ("face mask", "lion's head", "mannequin", "helmet")
    ),
    *(
        Exhibit(f"stranger: {name}", partial(_stranger, name), refused="copied almost all around")
        for name in ("bear", "bull")
    ),
)  # fmt: skip
