"""Checking, mending and measuring a mesh beside the plain way through libraries, in one run.

    python benchmarks/mesh.py [--triangles 400000]

Prints seconds, ratios and memory; decides nothing.
"""

from __future__ import annotations

import argparse
import multiprocessing
from pathlib import Path
from typing import Any

import igl
import igl.copyleft.cgal
import numpy as np
import trimesh

from firstpull.core.demo import heron_half_mask
from firstpull.core.demo.broken import METRE_MM, broken_heron
from firstpull.core.mesh.check.defects import find_defects
from firstpull.core.mesh.crossings import find_crossings
from firstpull.core.mesh.mending.mend import mend
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.revision.compare import compare
from firstpull.core.mesh.thickness import wall_thickness
from timing import seconds

Row = tuple[str, float, float | None, str]


def arrays(mesh: Mesh) -> tuple[Any, Any]:
    return np.array(mesh.vertices_mm), mesh.faces.astype(np.int64)


def crossings_row(mesh: Mesh) -> Row:
    """All self-crossings, against CGAL's exact kernel through libigl."""
    v, f = arrays(mesh)

    def plain() -> None:
        igl.copyleft.cgal.remesh_self_intersections(
            v, f, detect_only=True, first_only=False, stitch_all=False
        )

    return "self-crossings", seconds(lambda: find_crossings(mesh)), seconds(plain), "CGAL, exact"


def thickness_row(mesh: Mesh) -> Row:
    """Inscribed balls at every face, against trimesh's at a sample of them."""
    plain = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    faces = np.random.default_rng(0).choice(len(mesh.faces), 500, replace=False)
    points = plain.triangles_center[faces]

    def theirs() -> None:
        trimesh.proximity.thickness(
            plain, points, exterior=False, normals=plain.face_normals[faces], method="max_sphere"
        )

    scale = len(mesh.faces) / len(faces)
    ours = seconds(lambda: wall_thickness(mesh))
    return "thickness map", ours, scale * seconds(theirs), "trimesh spheres, 500 faces scaled"


def deviation_row(mesh: Mesh) -> Row:
    """Signed maps and proved bounds both ways, against distances at the vertices alone."""
    moved = Mesh(mesh.vertices_mm + 0.02 * np.sin(mesh.vertices_mm / 9.0), mesh.faces)
    (v, f), (w, g) = arrays(mesh), arrays(moved)
    ours = seconds(lambda: compare(mesh, moved))
    return "compare revisions", ours, seconds(lambda: igl.hausdorff(v, f, w, g)), "libigl, vertices"


def check_row(mesh: Mesh) -> Row:
    """Everything a check looks for, against the few questions that libraries answer."""
    v, f = arrays(mesh)

    def plain() -> None:
        made = trimesh.Trimesh(v, f, process=False)
        _ = made.is_watertight, made.is_winding_consistent, made.volume
        made.split(only_watertight=False)
        igl.copyleft.cgal.remesh_self_intersections(
            v, f, detect_only=True, first_only=False, stitch_all=False
        )

    return "full check", seconds(lambda: find_defects(mesh)), seconds(plain), "trimesh and CGAL"


def mend_row(triangles: int) -> Row:
    demo = broken_heron(triangles=triangles).mesh
    mesh = Mesh(METRE_MM * demo.vertices_mm, demo.faces)
    return "mend the broken demo", seconds(lambda: mend(mesh)), None, "nothing to compare with"


def memory_kb_each(triangles: int, *, cut: int) -> tuple[int, float]:
    """Triangles, and peak memory of a full check beyond the bare program, in kB a triangle."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(_peak, (triangles, cut))


def _peak(triangles: int, cut: int) -> tuple[int, float]:
    small = heron_half_mask(triangles=50_000)
    find_defects(small)
    before = _highest_kb()
    mesh = _finer(heron_half_mask(triangles=triangles), cut)
    find_defects(mesh)
    return len(mesh.faces), (_highest_kb() - before) / len(mesh.faces)


def _highest_kb() -> int:
    """The most memory this process has held, as Linux counts it."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM"))


def _finer(mesh: Mesh, times: int) -> Mesh:
    for _ in range(times):
        vertices, faces = trimesh.remesh.subdivide(mesh.vertices_mm, mesh.faces)
        mesh = Mesh(vertices, faces)
    return mesh


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--triangles", type=int, default=400_000)
    triangles = parser.parse_args().triangles
    mesh = heron_half_mask(triangles=triangles)
    large = _finer(mesh, 1)
    print(f"demo, {len(mesh.faces):,} triangles; cut finer, {len(large.faces):,}")
    print(f"{'what':28} {'ours s':>8} {'plain s':>8} {'ratio':>7}  plain way")
    rows = (
        lambda: crossings_row(mesh),
        lambda: thickness_row(mesh),
        lambda: deviation_row(mesh),
        lambda: check_row(mesh),
        lambda: ("full check, finer", *check_row(large)[1:]),
        lambda: mend_row(triangles),
    )
    for row in rows:
        name, ours, theirs, how = row()
        ratio = f"{theirs / ours:6.1f}x" if theirs else "      -"
        print(f"{name:28} {ours:8.2f} {theirs or 0:8.2f} {ratio}  {how}", flush=True)
    count, each = memory_kb_each(triangles, cut=1)
    print(f"peak memory of a full check of {count:,}: {each:.2f} kB a triangle")


if __name__ == "__main__":
    main()
