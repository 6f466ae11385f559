"""The body on the board: the master's own triangles with filler behind and below.

The show surface, a curtain that drops from the rim to the board, and a membrane across each
opening together close a volume. Filler is that volume less a skin of about half a wall under
the show surface, so its hidden face runs at mid-wall and never stands in front of a face that
the mould must copy. Show undercuts stay open: only silicone may fill them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Field, Grid, distance, sample, signed_distance
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mould.drape import cone_drape
from firstpull.core.mould.membrane import evened, flat_lid, membrane
from firstpull.core.mould.show import Show, told_place

LARGEST_GRID = 9_000_000
BURIED_SHARE = 0.003  # of the show surface: more is a rim that turns under
BEFORE_MM = 0.6  # how far before the show surface clay is looked for
NEAR_MM = 3.5  # distances are told up to here: more than mid-wall
EVEN_RIM_MM = 5.0
RIM_STEP_MM = 1.0
BELOW_BOARD_MM = 16.0  # the body goes on below the board so that offsets there stay upright


class ShowBuried(WorkshopError):
    """With this up direction clay would stand on the show surface.

    ``place_mm`` is the middle of it, in the mould frame.
    """

    code = "show_buried"
    place_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    share: float = 0.0


@dataclass(frozen=True)
class Body:
    """Master and filler on the board, in the mould frame.

    Args:
        mesh: closed; stands on z = 0.
        below: the same, going on below the board (for offsets).
        volume_cm3: of ``mesh``.
        clay_cm3: filler: behind the master, under the rim and in the openings.
        trim_line_mm: (N, 3) where the casting is trimmed: the rim loop.
    """

    mesh: Mesh
    below: Mesh
    volume_cm3: float
    clay_cm3: float
    trim_line_mm: Floats


def build_body(
    master: Mesh, show: Show, *, wall_draft_deg: float = 4.0, step_mm: float = 1.0
) -> Body:
    """Master and filler as one solid on the board.

    Args:
        master: closed, in the mould frame.
        show: its show surface.
        wall_draft_deg: lean of the clay wall from the rim to the board.
        step_mm: grid on which the filler is shaped; coarser for a very large master.

    Raises:
        ShowBuried: the rim turns under, so that clay would stand on the show surface.
    """
    low, high = master.bounds_mm
    lean = np.tan(np.radians(wall_draft_deg))
    margin = 4.0 + lean * (high[2] + BELOW_BOARD_MM)
    low = np.array([low[0] - margin, low[1] - margin, -BELOW_BOARD_MM - 3.0])
    high = high + np.array([margin, margin, 3.0])
    step = max(step_mm, float((np.prod(high - low) / LARGEST_GRID) ** (1 / 3)))
    # a fresh offset keeps flat sides off the grid's planes
    grid = Grid.around(low - 0.3183 * step, high + step, step_mm=step)
    field = _filler_field(master, show, grid, wall_draft_deg=wall_draft_deg)
    _refuse_buried(master, show, field, grid)
    filler = solid(contour(field, grid), where="The filler")
    master_solid = solid(master, where="The master")
    whole = master_solid + filler
    raw = mesh_of(whole)
    below = _in_one_piece(raw)
    whole = whole if below is raw else solid(below)
    # a cut may part crumbs that hung on by a corner
    mesh = _in_one_piece(mesh_of(whole.trim_by_plane((0.0, 0.0, 1.0), 0.0)))
    above = master_solid
    if master.bounds_mm[0, 2] < 0:
        above = master_solid.trim_by_plane((0.0, 0.0, 1.0), 0.0)
    return Body(
        mesh=mesh,
        below=below,
        volume_cm3=mesh.volume_mm3 / 1000,
        clay_cm3=(mesh.volume_mm3 - above.volume()) / 1000,
        trim_line_mm=master.vertices_mm[show.loops[0]],
    )


def _envelope(master: Mesh, show: Show) -> Mesh:
    """Show surface, membranes, curtain and floor: closed, though it may overlap itself."""
    rim = master.vertices_mm[show.loops[0]]
    even = _even_rim(master, show)
    foot = even.copy()
    foot[:, 2] = -BELOW_BOARD_MM - 2.0
    openings = [membrane(master.vertices_mm[run][::-1]) for run in show.loops[1:]]
    # the border runs with the show surface on its left; the curtain lies on its right
    curtain = [_strip(rim, even), _strip(even, foot)]
    return joined([master.with_faces(show.faces), *openings, *curtain, flat_lid(foot[::-1])])


def _even_rim(master: Mesh, show: Show) -> Floats:
    """The rim without the teeth of its triangles, a little lower: where the clay wall starts."""
    even = evened(master.vertices_mm[show.loops[0]], over_mm=EVEN_RIM_MM)
    even[:, 2] -= RIM_STEP_MM
    return even


def _strip(upper: Floats, lower: Floats) -> Mesh:
    """The band between two closed runs of equally many points."""
    n = len(upper)
    here = np.arange(n)
    after = np.roll(here, -1)
    faces = np.concatenate(
        [
            np.stack([after, here, here + n], axis=1),
            np.stack([after, here + n, after + n], axis=1),
        ]
    )
    return Mesh(np.vstack([upper, lower]), faces)


def _filler_field(master: Mesh, show: Show, grid: Grid, *, wall_draft_deg: float) -> Field:
    """Negative in the filler, which overlaps the master up to mid-wall."""
    mid = np.float32(_mid_wall(show))
    room = signed_distance(_envelope(master, show), grid, reach_mm=NEAR_MM)
    shown = master.with_faces(show.faces)
    depth = distance(shown, grid, reach_mm=NEAR_MM)
    edge = _distance_to_loops(master, show, grid, reach_mm=2 * NEAR_MM)
    field = np.maximum(room, np.minimum(mid, 0.5 * edge) - depth)
    foot = cone_drape(_even_rim(master, show), grid, slope_deg=wall_draft_deg)
    np.minimum(field, foot, out=field)
    return field


def _mid_wall(show: Show) -> float:
    """Depth under the show surface at which the filler's hidden face runs."""
    walls = show.wall_mm[show.faces & np.isfinite(show.wall_mm)]
    if not len(walls) or not show.is_shell:
        return 1.0
    return float(np.clip(0.5 * np.percentile(walls, 5), 0.3, 1.5))


def _distance_to_loops(master: Mesh, show: Show, grid: Grid, *, reach_mm: float) -> Field:
    """Distance to the borders of the show surface, taken as chains of thin triangles."""
    ends = [(run, np.roll(run, -1)) for run in show.loops]
    a = np.concatenate([e[0] for e in ends])
    b = np.concatenate([e[1] for e in ends])
    chain = Mesh(master.vertices_mm, np.stack([a, b, b], axis=1))
    return distance(chain, grid, reach_mm=reach_mm)


def _in_one_piece(mesh: Mesh) -> Mesh:
    """The largest surface alone: no loose crumbs, and no closed hollows inside it."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    n = len(mesh.vertices_mm)
    a, b = mesh.faces[:, :2].ravel(), mesh.faces[:, 1:].ravel()
    link = coo_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(n, n))
    count, surface = connected_components(link, directed=False)
    if count == 1:
        return mesh
    of_face = surface[mesh.faces[:, 0]]
    areas = np.bincount(of_face, weights=mesh.face_areas_mm2, minlength=count)
    return mesh.with_faces(of_face == int(np.argmax(areas)))


def _refuse_buried(master: Mesh, show: Show, filler: Field, grid: Grid) -> None:
    """Looks from just before the show surface: clay there means that the rim turns under."""
    from scipy.spatial import cKDTree

    faces = np.flatnonzero(show.faces)
    points = master.face_centres_mm[faces] + BEFORE_MM * master.face_normals[faces]
    clay = sample(filler, grid, points) < -0.5 * BEFORE_MM
    rim = cKDTree(master.vertices_mm[np.concatenate(show.loops)])
    clay[clay] = rim.query(points[clay], distance_upper_bound=3.0)[0] > 2.5
    areas = master.face_areas_mm2[faces]
    share = float(areas[clay].sum() / areas.sum())
    if share > BURIED_SHARE:
        middle = points[clay].mean(axis=0)
        x, y, z = points[clay][np.argmin(np.linalg.norm(points[clay] - middle, axis=1))]
        raise show_buried(share, (float(x), float(y), float(z)))


def show_buried(
    share: float, place_mm: tuple[float, float, float], *, frame: str = "mould frame"
) -> ShowBuried:
    """The refusal, with the place named in a frame that the reader knows."""
    refusal = ShowBuried(
        where="The rim",
        found=f"turns under: clay below it would cover {100 * share:.1f} % of the show "
        f"surface, near {told_place(place_mm)} in the {frame}",
        limit="clay may not stand on a face that the mould copies",
        remedy="Give another direction with --up, or trim the rim back.",
    )
    refusal.place_mm, refusal.share = place_mm, share
    return refusal
