"""Small moulds whose release is known in advance, made without the mould generator.

Bodies of revolution come from a half section worked in the plane (shapely offsets), convex ones
from Minkowski sums and hulls (manifold3d). In both, everything that the draft cone sweeps when
the shell lifts is closed with silicone, so the shell leaves by construction.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import manifold3d
import numpy as np
import shapely
from scipy.spatial import ConvexHull
from shapely.affinity import scale
from shapely.geometry import MultiPoint, Point, Polygon, box

from firstpull.core.mesh.mesh import Mesh

UP = (0.0, 0.0, 1.0)
WALL_MM = 5.0
FAR = 500.0
SEGMENTS = 96


@dataclass(frozen=True)
class MouldCase:
    """The arguments of the proof, by name."""

    master: Mesh
    show_faces: Any
    body: Mesh
    skin: Mesh
    pieces: tuple[Mesh, ...]
    pulls: tuple[tuple[float, float, float], ...]
    skin_thickness_mm: float = 8.0
    clearance_mm: float = 0.1
    draft_deg: float = 3.0
    grid_mm: float = 0.0

    def arguments(self) -> dict[str, Any]:
        """What prove_mould takes."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


def mesh_of(solid: Any, *, edge_mm: float = 4.0) -> Mesh:
    """The surface, with no edge longer than ``edge_mm``."""
    raw = solid.refine_to_length(edge_mm).to_mesh64()
    return Mesh(raw.vert_properties[:, :3], raw.tri_verts)


def jittered(mesh: Mesh, *, size_mm: float, seed: int) -> Mesh:
    """Every vertex moved by up to ``size_mm``, as a file's rounding or a scan would."""
    rng = np.random.default_rng(seed)
    step = rng.uniform(-1, 1, mesh.vertices_mm.shape) * size_mm / np.sqrt(3)
    return Mesh(mesh.vertices_mm + step, mesh.faces)


def turned(pull: Sequence[float], degrees: float, *, about: Sequence[float]) -> tuple[float, ...]:
    """A direction turned about an axis (Rodrigues)."""
    from scipy.spatial.transform import Rotation

    axis = np.asarray(about, dtype=float) / np.linalg.norm(about)
    return tuple(Rotation.from_rotvec(np.radians(degrees) * axis).apply(pull))


# --- bodies of revolution ------------------------------------------------------------------


def above(shape: Any) -> Any:
    """The part above the board."""
    return shape.intersection(box(-FAR, 0, FAR, FAR))


def full(shape: Any) -> Any:
    """A half section and its mirror image."""
    return shape.union(scale(shape, xfact=-1, origin=(0, 0)))


def drafted_down(shape: Any, draft_deg: float) -> Any:
    """All that lies under the shape within the draft cone: its sum with a downward triangle."""
    if draft_deg < 0:
        return shape
    reach, wide = 300.0, 300.0 * np.tan(np.radians(draft_deg))
    cone = np.array([[0, 0], [-wide, -reach], [wide, -reach]])
    swept = [shape]
    for polygon in getattr(shape, "geoms", [shape]):
        for ring in (polygon.exterior, *polygon.interiors):
            ends = np.array(ring.coords)
            for a, b in pairwise(ends):
                swept.append(MultiPoint(np.concatenate([a + cone, b + cone])).convex_hull)
    return above(shapely.union_all(swept))


def revolved(section: Any) -> Any:
    """The solid of a full section turned about the z axis."""
    half = section.intersection(box(0, -FAR, FAR, FAR))
    rings = []
    for polygon in getattr(half, "geoms", [half]):
        if polygon.area < 1e-6:
            continue
        polygon = shapely.geometry.polygon.orient(polygon.simplify(2e-3))
        rings += [np.array(r.coords)[:-1] for r in (polygon.exterior, *polygon.interiors)]
    return manifold3d.Manifold.revolve(manifold3d.CrossSection(rings), SEGMENTS)


@dataclass(frozen=True)
class Turned:
    """Sections of a turned mould: rubber in its final shape and as a plain coat, and the shell."""

    body: Any
    coat: Any
    rubber: Any
    shell: Any
    outer: Any


def turned_sections(
    body: Any, *, skin_mm: float, clearance_mm: float, draft_deg: float, filled: bool = True
) -> Turned:
    """Skin, flange and shell over a full section of a body.

    Args:
        filled: whether shell and rubber close what the draft cone sweeps.
    """
    reach = body.bounds[2] + 40
    flange = box(-reach, 0, reach, skin_mm)
    coat = above(body.buffer(skin_mm, quad_segs=24)).union(flange)
    form = drafted_down(coat, draft_deg).union(flange) if filled else coat
    form = form.intersection(box(-reach, 0, reach, FAR))
    room = box(-reach, 0, reach, FAR)
    outer = form.buffer(clearance_mm + WALL_MM, quad_segs=24)
    inner = form.buffer(clearance_mm, quad_segs=24)
    shell = outer.difference(inner).intersection(room)
    return Turned(body, coat.difference(body), form.difference(body), shell, outer)


def whole_show(mesh: Mesh) -> Any:
    """Every face but those on the board."""
    return mesh.face_centres_mm[:, 2] > 1e-6


def turned_case(
    body: Any,
    *,
    skin_mm: float = 8.0,
    promised_mm: float = 8.0,
    clearance_mm: float = 0.1,
    draft_deg: float = 3.0,
    cut: Callable[[Any], Sequence[Any]] = lambda shell: [shell],
    pulls: Sequence[Any] = (UP,),
) -> MouldCase:
    """A mould over a body of revolution that is all show surface."""
    sections = turned_sections(
        body, skin_mm=skin_mm, clearance_mm=clearance_mm, draft_deg=draft_deg
    )
    master = mesh_of(revolved(sections.body))
    return MouldCase(
        master=master,
        show_faces=whole_show(master),
        body=master,
        skin=mesh_of(revolved(sections.rubber)),
        pieces=tuple(mesh_of(p) for p in cut(revolved(sections.shell))),
        pulls=tuple(pulls),
        skin_thickness_mm=promised_mm,
        clearance_mm=clearance_mm,
        draft_deg=draft_deg,
    )


def disc(x: float, z: float, radius: float) -> Any:
    """A circle in the section."""
    return Point(x, z).buffer(radius, quad_segs=48)


def dome_section() -> Any:
    """Half a ball of 40 mm on the board."""
    return above(disc(0, 0, 40))


def mushroom_section() -> Any:
    """A ball of 25 mm on a post of 10 mm: the show undercut that only silicone may close."""
    return above(disc(0, 45, 25).union(box(-10, 0, 10, 45)))


def half_space(sign: float) -> Any:
    """The half of space with sign * x > 0."""
    cube = manifold3d.Manifold.cube((FAR, 2 * FAR, 2 * FAR), True)
    return cube.translate((sign * FAR / 2, 0, 0))


def left_right(shell: Any) -> list[Any]:
    """Two halves that meet at x = 0 with faces that touch."""
    return [shell ^ half_space(1), shell ^ half_space(-1)]


def hooked(overhang_mm: float, gap_mm: float) -> MouldCase:
    """A dome whose first piece carries a strap that lies over the second.

    Args:
        overhang_mm: how far the strap reaches over the second piece.
        gap_mm: space between strap and second piece; below 0 they overlap.
    """
    plain = turned_case(dome_section())
    sections = turned_sections(dome_section(), skin_mm=8.0, clearance_mm=0.1, draft_deg=3.0)
    first, second = left_right(revolved(sections.shell))
    room = box(-FAR, 0, FAR, FAR)
    top = sections.outer.buffer(4.0, quad_segs=24).intersection(room)
    over = revolved(top.difference(sections.outer.buffer(gap_mm, quad_segs=24)))
    own = revolved(top.difference(sections.outer.buffer(-1.0, quad_segs=24)))
    reach = manifold3d.Manifold.cube((overhang_mm, 2 * FAR, 2 * FAR), True)
    # Only above the shell's plate, so that the strap stays clear of the flange.
    high = manifold3d.Manifold.cube((FAR, FAR, FAR), True).translate((0, 0, FAR / 2 + 20))
    strap = (over ^ reach.translate((-overhang_mm / 2, 0, 0)) ^ high) + (
        own ^ reach.translate((overhang_mm / 2, 0, 0)) ^ high
    )
    pieces = (mesh_of(first + strap), mesh_of(second))
    return replace(plain, pieces=pieces, pulls=(UP, UP))


# --- convex bodies ---------------------------------------------------------------------------


def convex_case(
    body: Any, *, skin_mm: float = 8.0, clearance_mm: float = 0.1, draft_deg: float = 3.0
) -> MouldCase:
    """A mould over a convex body on the board, by Minkowski sums and hulls."""
    room = manifold3d.Manifold.cube((FAR, FAR, FAR), True).translate((0, 0, FAR / 2))
    ball = manifold3d.Manifold.sphere(skin_mm, 48)
    grown = summed(body, ball) ^ room
    wide = 200 * np.tan(np.radians(draft_deg))
    cone = manifold3d.Manifold.cylinder(200, wide, 0, 96).translate((0, 0, -200))
    box_max = np.array(body.bounding_box()[3:5]) + 40
    flange = manifold3d.Manifold.cube((*(2 * box_max), skin_mm), True)
    flange = flange.translate((0, 0, skin_mm / 2))
    swept = summed(grown, cone) ^ room
    inner = summed(swept, manifold3d.Manifold.sphere(clearance_mm, 16))
    outer = summed(swept, manifold3d.Manifold.sphere(clearance_mm + WALL_MM, 24))
    low = skin_mm + clearance_mm
    slab = manifold3d.Manifold.cube((*(2 * box_max), WALL_MM), True)
    outer += slab.translate((0, 0, low + WALL_MM / 2))
    over = manifold3d.Manifold.cube((FAR, FAR, FAR), True).translate((0, 0, FAR / 2 + low))
    master = mesh_of(body)
    return MouldCase(
        master=master,
        show_faces=whole_show(master),
        body=master,
        skin=mesh_of((swept + flange) - body),
        pieces=(mesh_of((outer - inner) ^ over),),
        pulls=(UP,),
        skin_thickness_mm=skin_mm,
        clearance_mm=clearance_mm,
        draft_deg=draft_deg,
    )


def summed(one: Any, other: Any) -> Any:
    """The Minkowski sum of two convex solids: the hull of all sums of their corners."""
    a = np.asarray(one.to_mesh64().vert_properties)[:, :3]
    b = np.asarray(other.to_mesh64().vert_properties)[:, :3]
    sums = (a[:, None] + b[None]).reshape(-1, 3)
    # Qhull's planes are true to 1e-13; other hulls leave corners out that stand 0.1 mm proud.
    hull = ConvexHull(sums, qhull_options="Qt")
    faces = hull.simplices.copy()
    corners = sums[faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    inward = (normals * hull.equations[:, :3]).sum(axis=1) < 0
    faces[inward] = faces[inward][:, ::-1]
    used, number = np.unique(faces, return_inverse=True)
    mesh = manifold3d.Mesh64(sums[used], number.reshape(-1, 3).astype(np.uint64))
    return manifold3d.Manifold(mesh)


# --- from a grid -----------------------------------------------------------------------------


def gridded_case(*, grid_mm: float = 1.5, draft_deg: float = 3.0) -> MouldCase:
    """Two balls that meet in a crease and overhang, with skin and shell read off a coarse grid.

    The distance to the balls is exact; only the surfaces carry the chord error of the grid, as
    those of a mould found on a distance grid do.
    """
    from skimage.measure import marching_cubes

    balls = (((-16.0, 0.0, 22.0), 26.0), ((18.0, 5.0, 26.0), 20.0))
    low, high = np.array([-80.0, -70.0, -2 * grid_mm]), np.array([80.0, 70.0, 78.0])
    axes = [np.arange(low[i], high[i], grid_mm) for i in range(3)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)

    def to_skin(points: Any) -> Any:
        away = [np.linalg.norm(points - np.array(c), axis=-1) - r for c, r in balls]
        return np.minimum(np.minimum(*away), points[..., 2]) - 8.0

    swept = np.full(grid.shape[:3], np.inf)
    for travel in np.arange(0.0, 80.0, 0.75):
        rising = to_skin(grid + np.array([0, 0, travel]))
        swept = np.minimum(swept, rising - travel * np.sin(np.radians(draft_deg)))

    # A border of outside closes the surface beyond the room that is kept.
    bordered = np.pad(swept, 1, constant_values=5 * WALL_MM)

    def below(level_mm: float) -> Any:
        points, faces, _, _ = marching_cubes(
            bordered, level_mm, spacing=(grid_mm,) * 3, gradient_direction="ascent"
        )
        raw = Mesh(points.astype(float) + low - grid_mm, faces)
        outward = raw if raw.volume_mm3 > 0 else raw.flipped()
        return manifold3d.Manifold(
            manifold3d.Mesh64(np.array(outward.vertices_mm), outward.faces.astype(np.uint64))
        )

    room = manifold3d.Manifold.cube((140, 120, 200), True).translate((0, 0, 100))
    body = (
        sum(
            (manifold3d.Manifold.sphere(r, 160).translate(c) for c, r in balls),
            manifold3d.Manifold(),
        )
        ^ room
    )
    master = mesh_of(body)
    skin, inner, outer = (below(level) for level in (0.0, 0.1, 0.1 + WALL_MM))
    return MouldCase(
        master=master,
        show_faces=whole_show(master),
        body=master,
        skin=mesh_of((skin ^ room) - body),
        pieces=(mesh_of((outer - inner) ^ room),),
        pulls=(UP,),
        draft_deg=draft_deg,
        grid_mm=grid_mm,
    )


# --- the shapes ------------------------------------------------------------------------------


def dome() -> MouldCase:
    """A hemisphere under one piece that lifts straight up."""
    return turned_case(dome_section())


def dome_bedded() -> MouldCase:
    """The same with 1.5 mm for a bedding coat."""
    return turned_case(dome_section(), clearance_mm=1.5)


def dome_halves() -> MouldCase:
    """The same under two halves that leave sideways and up; at the parting the draft is 0."""
    slant = np.sqrt(0.5)
    return turned_case(
        dome_section(),
        draft_deg=0.0,
        cut=left_right,
        pulls=((slant, 0.0, slant), (-slant, 0.0, slant)),
    )


def cone() -> MouldCase:
    """A frustum whose own wall leans 20 degrees."""
    return turned_case(Polygon([(-45, 0), (45, 0), (26.8, 50), (-26.8, 50)]))


def cylinder() -> MouldCase:
    """An upright cylinder: no draft of its own, the silicone makes it."""
    return turned_case(box(-30, 0, 30, 40), draft_deg=2.0)


def cylinder_without_draft() -> MouldCase:
    """A cylinder and a shell that slides off along it: walls stay parallel to the pull."""
    return turned_case(box(-30, 0, 30, 40), draft_deg=0.0)


def mushroom() -> MouldCase:
    """A ball on a post; silicone fills the space under the ball."""
    return turned_case(mushroom_section())


def half_torus() -> MouldCase:
    """A ring of 15 mm on 45 mm, lying half in the board; the shell also covers its hole."""
    return turned_case(above(full(disc(45, 0, 15))))


def hollow_dome() -> MouldCase:
    """A wall of 3 mm, 12 mm over the board, blocked up with clay from mid-wall down."""
    wall = disc(0, 12, 40).difference(disc(0, 12, 37)).intersection(box(-FAR, 12, FAR, FAR))
    clay = Polygon([(-38.5, 12), (38.5, 12), (40, 0), (-40, 0)])
    inside = disc(0, 12, 38.5).intersection(box(-FAR, 12, FAR, FAR))
    body = wall.union(clay).union(inside)
    case = turned_case(body.buffer(0))
    master = mesh_of(revolved(wall))
    radius = np.linalg.norm(master.face_centres_mm - [0, 0, 12], axis=1)
    show = (radius > 39.5) & (np.abs(master.face_normals[:, 2] + 1) > 1e-6)
    return replace(case, master=master, show_faces=show)


def block() -> MouldCase:
    """A rectangular block."""
    cube = manifold3d.Manifold.cube((60, 44, 30), True).translate((0, 0, 15))
    return convex_case(cube, draft_deg=2.0)


def loaf() -> MouldCase:
    """A capsule cut lengthwise."""
    ball = manifold3d.Manifold.sphere(25, 64)
    capsule = manifold3d.Manifold.batch_hull(
        [ball.translate((-25, 0, 0)), ball.translate((25, 0, 0))]
    )
    return convex_case(capsule.trim_by_plane((0, 0, 1), 0))


def strapped() -> MouldCase:
    """A dome in two pieces, the first of which laps over the second."""
    return hooked(12.0, 0.2)


GOOD = {
    made.__name__: made
    for made in (
        dome, dome_bedded, dome_halves, cone, cylinder, cylinder_without_draft, mushroom,
        half_torus, hollow_dome, block, loaf, strapped,
    )
}  # fmt: skip
