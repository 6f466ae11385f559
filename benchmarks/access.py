"""What pulls can reach, beside the plain way through a general ray caster, in one run.

    python benchmarks/access.py [--triangles 400000] [--divisions 9]

trimesh casts by Embree where embreex is installed, as here, and else by its own code; the
engine is printed. The plain way asks ``mesh.ray.intersects_any`` for every face's four samples
along every direction. Two leaner ways follow: only faces that lean toward the pull, and Embree
asked directly whether anything is in the way. Where the answers differ, by rounding at the
edges of shadows, the share is printed. Prints seconds and ratios; decides nothing.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any

import numpy as np
import trimesh

from firstpull.core.demo import heron_half_mask
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.rays import RayScene
from firstpull.core.mould.access import (
    free_quarters,
    off_board,
    proxy_of,
    pull_directions,
    reachable,
)
from firstpull.core.mould.body import build_body
from firstpull.core.mould.least import least_pieces
from firstpull.core.mould.place import stand_on_board
from firstpull.core.mould.skin import shape_skin
from firstpull.core.mould.up import find_up
from timing import seconds

DRAFT_DEG = 2.0
QUARTERS = np.array([[2, 2, 2], [4, 1, 1], [1, 4, 1], [1, 1, 4]]) / 6.0
Blocked = Callable[[Any, Any], Any]


def demo_skin(triangles: int) -> Any:
    """The outside of the demo's silicone skin."""
    mesh = heron_half_mask(triangles=triangles)
    standing = stand_on_board(mesh, find_up(mesh), below_rim_mm=13.0)
    body = build_body(standing.master, standing.show)
    return shape_skin(
        body,
        thickness_mm=6.0,
        flange_width_mm=35.0,
        flange_thickness_mm=8.0,
        step_mm=1.5,
        room_mm=30.0,
    )


def by_rays(mesh: Mesh, ways: Any, blocked: Blocked, *, culled: bool) -> Any:
    """(D, F) reached faces, all four samples asked of a ray caster."""
    corners, normals = mesh.corners_mm, mesh.face_normals
    off = 1e-4 * float(np.ptp(mesh.bounds_mm, axis=0).max())
    starts = np.einsum("qk,fkj->qfj", QUARTERS, corners) + off * normals
    out = np.zeros((len(ways), len(corners)), dtype=bool)
    for row, way in zip(out, ways, strict=True):
        leans = normals @ way >= np.sin(np.radians(DRAFT_DEG))
        asked = np.flatnonzero(leans) if culled else np.arange(len(corners))
        rays = starts[:, asked].reshape(-1, 3)
        hit = blocked(rays, np.broadcast_to(way, rays.shape)).reshape(4, -1)
        row[asked] = leans[asked] & ~hit.any(axis=0)
    return out


def compare(name: str, mesh: Mesh, ways: Any, share: int = 1) -> None:
    """A map of all faces and every so-many-th direction, by four ways."""
    ways = ways[::share]
    plain = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    ours = seconds(lambda: free_quarters(mesh, ways, draft_deg=DRAFT_DEG))
    reached = reachable(mesh, ways, draft_deg=DRAFT_DEG)
    print(f"{name}: {len(mesh.faces):,} faces, {len(ways)} pulls, ours {ours:.2f} s")
    scene = RayScene(mesh)
    rows: tuple[tuple[str, Blocked, bool], ...] = (
        ("trimesh, all faces", plain.ray.intersects_any, False),
        ("trimesh, leaning faces", plain.ray.intersects_any, True),
        ("Embree directly, leaning faces", scene.is_blocked, True),
    )
    for label, blocked, culled in rows:
        found: list[Any] = []

        def work(blocked: Blocked = blocked, culled: bool = culled, found: Any = found) -> None:
            found[:] = [by_rays(mesh, ways, blocked, culled=culled)]

        took = seconds(work)
        apart = float((found[0] != reached).mean())
        print(f"  {label:32} {took:8.2f} s {took / ours:6.1f}x   differs {100 * apart:.3f} %")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--triangles", type=int, default=400_000)
    parser.add_argument("--divisions", type=int, default=9)
    args = parser.parse_args()
    skin = demo_skin(args.triangles)
    proxy = proxy_of(skin)
    ways = pull_directions(divisions=args.divisions)
    up = ways[off_board(ways, draft_deg=DRAFT_DEG)]
    engine = trimesh.Trimesh(proxy.vertices_mm, proxy.faces, process=False).ray
    print(f"trimesh {trimesh.__version__} casts rays by {type(engine).__module__}")
    compare("proxy of the demo's skin", proxy, up)
    compare("demo's master", heron_half_mask(triangles=args.triangles), up, share=10)
    print(f"drawing the proxy {seconds(lambda: proxy_of(skin)):.2f} s")
    for share in (0.98, 0.999):

        def least(share: float = share) -> Any:
            return least_pieces(proxy, ways, draft_deg=DRAFT_DEG, on_board=True, share=share)

        took = seconds(least)
        print(f"map and least number for {share:.1%}: {took:.2f} s. {least().sentence}")


if __name__ == "__main__":
    main()
