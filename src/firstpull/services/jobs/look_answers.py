"""Answers about a run, from what it kept in its folder: maps over it, walls and paint tried."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from firstpull.core.arrays import Flags
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.drawn_line import BadLine, LockedStretch, locked_stretches, wall_along
from firstpull.core.mould.locks import find_locks
from firstpull.core.mould.parting import Parting
from firstpull.core.mould.preview import Preview, preview, preview_shadows
from firstpull.core.mould.shadows import Shadows, fill_of
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.steered import NoParting, with_pulls
from firstpull.core.mould.steering import FLATTEST_DEG, BadSteering
from firstpull.core.mould.surface_maps import (
    Values,
    fill_for_pull,
    need_pull,
    range_of,
    shown_at,
    silicone_under,
    thickness_at,
    view_from,
)
from firstpull.core.mould.zone import PartingWall
from firstpull.files.mesh_box import SUFFIX, mesh_of_box, read_box, write_box
from firstpull.files.plan_folder import PLAN
from firstpull.services.choice import wall_as_json, wall_from_json
from firstpull.services.jobs.look import (
    FILL_MAP,
    KEPT,
    MAP_KINDS,
    MAPS,
    PLAN_FOLDER,
    VIEW,
    box_path,
    map_path,
    rounded,
)
from firstpull.services.jobs.look_write import COARSE, FINE, SHOW, kept_skin
from firstpull.services.jobs.paint_answer import Easel

FILL_MAPS_KEPT = 24  # of a run on disc, each for one pull


class RunShown:
    """What a run kept, loaded as it is asked for.

    Args:
        run_dir: the run's folder.
    """

    def __init__(self, run_dir: Path) -> None:
        self.run_dir = run_dir
        self._meshes: dict[str, Mesh] = {}

    def mesh(self, name: str) -> Mesh:
        """A mesh as its box holds it."""
        if name not in self._meshes:
            self._meshes[name] = mesh_of_box(read_box(box_path(self.run_dir, name))[0])
        return self._meshes[name]

    @cached_property
    def plan(self) -> dict[str, Any]:
        """The run's plan."""
        return dict(json.loads((self.run_dir / PLAN_FOLDER / PLAN).read_bytes()))

    @cached_property
    def draft_deg(self) -> float:
        """Least lean of a pull to the shell's walls."""
        return float(self.plan["parts"][0]["moulds"][0]["shell"]["draft_deg"])

    @cached_property
    def shadows(self) -> Shadows:
        """Cast once, for all walls that are tried."""
        return preview_shadows(kept_skin(self.run_dir, COARSE), draft_deg=self.draft_deg)

    @cached_property
    def skin(self) -> SkinShape:
        """The skin before fill."""
        return kept_skin(self.run_dir, FINE)

    @property
    def show(self) -> Flags:
        """(F,) which faces of the master are copied."""
        return self._shown["faces"]

    @property
    def unpainted(self) -> Flags:
        """(F,) which would be copied without paint."""
        return self._shown.get("unpainted", self.show)

    @cached_property
    def easel(self) -> Easel:
        """The master ready to be painted on."""
        return Easel.of(self.mesh("master"), self.unpainted, self.show)

    @cached_property
    def _shown(self) -> dict[str, Flags]:
        arrays = read_box(self.run_dir / VIEW / KEPT / (SHOW + SUFFIX))[0]
        return {name: np.asarray(faces, dtype=np.bool_) for name, faces in arrays.items()}


def answer(run: RunShown, question: str, **options: Any) -> Any:
    """The answer to a question; see Standby.ask."""
    if question == "map":
        return str(write_map(run, **options))
    if question == "preview":
        return preview_of(run, **options)
    if question == "paint":
        return run.easel.with_paint(**options)
    assert question == "warm", question
    preview_of(run, walls=[])
    return None


def write_map(
    run: RunShown,
    *,
    mesh: str,
    name: str,
    direction: tuple[float, float, float] | None = None,
) -> Path:
    """Where the map lies, worked out where it was not there."""
    path = map_path(run.run_dir, mesh, name, direction=direction)
    if path.is_file():
        return path
    kind = MAP_KINDS[name]
    values = _values(run, mesh, name, direction)
    reach = range_of(values)
    low, high = (0.0, 1.0) if kind.unit == "" else (reach.low, reach.high)
    meta = {"title": kind.title, "unit": kind.unit, "low": low, "high": high, "sense": kind.sense}
    write_box(path, {"values": values}, meta)
    if name == FILL_MAP:
        _drop_old_fill_maps(run.run_dir / VIEW / MAPS)
    return path


def _values(
    run: RunShown, mesh: str, name: str, direction: tuple[float, float, float] | None
) -> Values:
    """(V,) of the map."""
    on = run.mesh(mesh)
    if name == "thickness":
        return thickness_at(on)
    if name == "show":
        return shown_at(on, run.show)
    if name == "visibility":
        return view_from(on)
    if name == "skin_mm":
        return silicone_under(on, run.mesh("body"))
    assert name == FILL_MAP and direction is not None
    return fill_for_pull(on, run.skin, rounded(direction), draft_deg=run.draft_deg)


def _drop_old_fill_maps(folder: Path) -> None:
    """Every pull makes a map of its own; the oldest go."""
    maps = [(path.stat().st_mtime_ns, path) for path in folder.glob(f"*{FILL_MAP}*{SUFFIX}")]
    for _, path in sorted(maps)[:-FILL_MAPS_KEPT]:
        path.unlink(missing_ok=True)


def preview_of(
    run: RunShown,
    *,
    walls: Sequence[Mapping[str, Any]],
    pulls: Sequence[Sequence[float]] | None = None,
) -> dict[str, Any]:
    """A shell parted at walls, in mould axes.

    Args:
        walls: each {"through", "facing", "bend"?} or {"line"}: points drawn on the body.
        pulls: one for each piece, in order; None takes the cheapest.

    Returns:
        Pieces, fill, pulls, locks (the largest first), the walls as used, and the stretches of
        walls where a pull of a piece beside them would run in.

    Raises:
        NoParting: a piece has no way off.
        BadLine, BadSteering: a wall is none; says which and where.
    """
    used = [_wall(run, asked, number) for number, asked in enumerate(walls, start=1)]
    lines = [asked.get("line") for asked in walls]
    found = preview(run.shadows, used, draft_deg=run.draft_deg)
    if found is None:
        raise _no_way_off(used)
    if pulls is not None:
        found = _with_given(run, found.parting, pulls)
    stretches = [
        stretch
        for wall, line in zip(used, lines, strict=True)
        for stretch in _stretches(wall, line, found.parting, run.draft_deg)
    ]
    return found.as_json() | {
        "stretches": stretches,
        "walls": [wall_as_json(wall) for wall in used],
    }


def _with_given(run: RunShown, parting: Parting, pulls: Sequence[Sequence[float]]) -> Preview:
    """The same zones with pulls that the maker gave, whether or not they run into a wall."""
    ways = np.array([need_pull(pull) for pull in pulls]).reshape(-1, 3)
    if len(ways) != len(parting.zones):
        # refused there, in the words of the plan
        with_pulls(run.shadows, parting, ways, draft_deg=run.draft_deg)
    phi, grid = run.shadows.phi, run.shadows.grid
    cell_cm3 = grid.step_mm**3 / 1000
    fill_cm3, locks = 0.0, []
    for number, (zone, way) in enumerate(zip(parting.zones, ways, strict=True), start=1):
        fill = fill_of(phi, grid, way, run.draft_deg, zone=zone)
        fill = np.where(run.shadows.cells_in(zone), fill, 0).astype(np.float32)
        fill_cm3 += float(fill.sum())
        locks += find_locks(fill / np.float32(cell_cm3), phi, grid, piece=number)
    return Preview(
        replace(parting, pulls=ways, fill_cm3=fill_cm3),
        tuple(sorted(locks, key=lambda lock: -lock.volume_cm3)),
    )


def _wall(run: RunShown, asked: Mapping[str, Any], number: int) -> PartingWall:
    if asked.get("line") is not None:
        try:
            return wall_along(asked["line"], run.mesh("body"))
        except BadLine as bad:
            raise bad.called(f"The drawn line of wall {number}") from None
    where = f"Wall {number}"
    through, facing = (np.asarray(asked.get(k) or (), float) for k in ("through", "facing"))
    sound = through.shape == facing.shape == (3,) and np.isfinite([*through, *facing]).all()
    if not sound or not np.linalg.norm(facing) > 0:
        raise BadSteering(
            where=where,
            found="has no point or no direction",
            limit="a wall is given by through and facing, three numbers each, or by a line",
            remedy="Give both, or draw the line.",
        )
    lean = float(np.degrees(np.arcsin(min(1.0, abs(facing[2]) / np.linalg.norm(facing)))))
    if lean > FLATTEST_DEG:
        raise BadSteering(
            where=where,
            found=f"leans {lean:.0f} degrees from upright on the board",
            limit=f"a parting wall may lean up to {FLATTEST_DEG:.0f} degrees",
            remedy="Turn it more upright.",
        )
    return _need_one_way(wall_from_json(dict(asked)), where)


def _need_one_way(wall: PartingWall, where: str) -> PartingWall:
    """A bend may be given from either end; between them it runs one way."""
    knots = wall.bend
    if len(knots) > 1 and knots[-1][0] < knots[0][0]:
        knots = tuple(reversed(knots))
    for n, (before, after) in enumerate(pairwise(knots), start=2):
        if after[0] <= before[0]:
            raise BadSteering(
                where=f"{where}, bend",
                found=f"turns back at point {n}",
                limit="seen along the wall its points run one way",
                remedy="Put them in order, or take that point out.",
            )
    return PartingWall(wall.normal, wall.offset_mm, knots)


def _stretches(
    wall: PartingWall, line: Any, parting: Parting, draft_deg: float
) -> list[dict[str, Any]]:
    """Where pulls of the pieces beside a wall run into it.

    Where an order is held, that is why: the piece behind the wall must have left before.
    """
    found: list[dict[str, Any]] = []
    for number, (zone, pull) in enumerate(zip(parting.zones, parting.pulls, strict=True), start=1):
        for side, seen in ((1, wall), (2, wall.turned)):
            if seen not in zone.walls:
                continue
            pair = np.array([pull, pull])
            runs = locked_stretches(wall, pair, draft_deg=draft_deg, line_mm=line)
            found += [_told(run, number, pull) for run in runs if run.piece == side]
    return found


def _told(stretch: LockedStretch, piece: int, pull: Any) -> dict[str, Any]:
    return {
        "points_mm": [[round(float(c), 2) for c in point] for point in stretch.points_mm],
        "pull": [round(float(c), 4) for c in pull],
        "piece": piece,
        "lean_deg": round(stretch.lean_deg, 1),
        "sentence": stretch.sentence,
    }


def _no_way_off(walls: Sequence[PartingWall]) -> WorkshopError:
    what = "This wall parts" if len(walls) == 1 else "These walls part"
    return NoParting(
        where=what,
        found="the shell so that a piece has no way off",
        limit="each piece needs a pull that leans away from its walls, now or in some order",
        remedy="Move a wall, tilt it or make its bends flatter, or leave one out.",
    )
