"""The mould's own geometry beside the plain way through general libraries, in one run.

    python benchmarks/geometry.py [--triangles 400000]

Prints seconds and ratios; decides nothing.
"""

from __future__ import annotations

import argparse

import igl
import numpy as np
import trimesh

from firstpull.core.demo import heron_half_mask
from firstpull.core.mesh.grid import Grid, closest
from firstpull.core.mesh.inside import is_inside
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.show import LOOKS_PER_FACE, find_show
from timing import seconds


def distance_row(mesh: Mesh) -> tuple[str, float, float, str]:
    """A distance grid within 40 mm, against a tree query at the same points."""
    low, high = mesh.bounds_mm
    grid = Grid.around(low - 40, high + 40, step_mm=1.5)
    field, _ = closest(mesh, grid, reach_mm=40.0)
    ours = seconds(lambda: closest(mesh, grid, reach_mm=40.0))
    ijk = np.argwhere(field < 40.0)[::10]
    points = np.array(grid.low_mm) + grid.step_mm * ijk
    v, f = np.array(mesh.vertices_mm), np.array(mesh.faces, dtype=np.int64)
    theirs = 10 * seconds(lambda: igl.point_mesh_squared_distance(points, v, f))
    return "distance on a 1.5 mm grid", ours, theirs, "libigl tree, every 10th point"


def show_row(mesh: Mesh) -> tuple[str, float, float, str]:
    """The whole show surface, against only the sky looks through the usual ray wrapper."""
    ours = seconds(lambda: find_show(mesh))
    plain = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    origins = plain.triangles_center + 1e-3 * plain.face_normals
    ways = np.tile([0.0, 0.0, 1.0], (len(origins), 1))
    theirs = LOOKS_PER_FACE * seconds(lambda: plain.ray.intersects_any(origins, ways))
    return "show surface", ours, theirs, "trimesh rays, looks alone"


def inside_row(mesh: Mesh) -> tuple[str, float, float, str]:
    """Inside or outside for 200 thousand points, against the exact winding number."""
    rng = np.random.default_rng(1)
    low, high = mesh.bounds_mm
    points = low + rng.random((200_000, 3)) * (high - low)
    ours = seconds(lambda: is_inside(mesh, points))
    v, f = np.array(mesh.vertices_mm), np.array(mesh.faces, dtype=np.int64)
    theirs = 1000 * seconds(lambda: igl.winding_number(v, f, points[:200]))
    return "inside, 200k points", ours, theirs, "libigl exact winding, 200 points scaled"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--triangles", type=int, default=400_000)
    mesh = heron_half_mask(triangles=parser.parse_args().triangles)
    print(f"demo, {len(mesh.faces):,} triangles")
    print(f"{'what':28} {'ours s':>8} {'plain s':>8} {'ratio':>7}  plain way")
    for row in (distance_row, show_row, inside_row):
        name, ours, theirs, how = row(mesh)
        print(f"{name:28} {ours:8.2f} {theirs:8.2f} {theirs / ours:6.1f}x  {how}")


if __name__ == "__main__":
    main()
