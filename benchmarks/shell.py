"""How long the choice of a shell takes, what a dragged wall costs, and how much memory.

    python benchmarks/shell.py [--triangles 400000] [--pieces 2]

Prints a table and decides nothing. Kernels are compiled first on a small mask.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from firstpull.core.demo import heron_half_mask
from firstpull.core.mould.access import proxy_of, pull_directions
from firstpull.core.mould.adjust import adjusted
from firstpull.core.mould.body import Body, build_body
from firstpull.core.mould.least import least_pieces
from firstpull.core.mould.options import weigh_option
from firstpull.core.mould.parting import Parting, part_in_one, part_in_two
from firstpull.core.mould.place import stand_on_board
from firstpull.core.mould.preview import preview, preview_shadows
from firstpull.core.mould.shadows import cast_shadows
from firstpull.core.mould.shell import build_shell, room_for_shell
from firstpull.core.mould.skin import SkinShape, shape_skin
from firstpull.core.mould.up import find_up
from firstpull.core.mould.wedges import part_further
from firstpull.core.mould.zone import PartingWall

DRAFT_DEG = 3.0
WALL = {"thickness_mm": 8.0, "clearance_mm": 0.3, "draft_deg": DRAFT_DEG}


def timed(what: str, work: Callable[[], Any]) -> Any:
    wall, cpu = time.perf_counter(), time.process_time()
    value = work()
    print(f"{what:46s}{time.perf_counter() - wall:8.2f} s{time.process_time() - cpu:8.2f} s CPU")
    return value


def body_of(triangles: int) -> Body:
    mesh = heron_half_mask(triangles=triangles)
    standing = stand_on_board(mesh, find_up(mesh), below_rim_mm=13.0)
    return build_body(standing.master, standing.show)


def skin_of(body: Body, step_mm: float, skin_mm: float = 6.0) -> SkinShape:
    return shape_skin(
        body,
        thickness_mm=skin_mm,
        flange_width_mm=35.0,
        flange_thickness_mm=8.0,
        step_mm=step_mm,
        room_mm=room_for_shell(thickness_mm=8.0, clearance_mm=0.3),
    )


def chart(body: Body, shape: SkinShape) -> dict[int, Parting]:
    """Partings in one to four pieces, weighed, and the least number proved."""
    shadows = cast_shadows(shape, draft_deg=DRAFT_DEG)
    least_pieces(proxy_of(shape), pull_directions(), draft_deg=DRAFT_DEG, on_board=True)
    found = [
        part_in_one(shadows, draft_deg=DRAFT_DEG),
        part_in_two(shadows, draft_deg=DRAFT_DEG),
        *part_further(shadows, draft_deg=DRAFT_DEG).values(),
    ]
    partings = {}
    for parting in found:
        if parting is not None:
            moved = adjusted(shadows, parting, draft_deg=DRAFT_DEG)
            weigh_option(body, shape, moved, **WALL)
            partings[len(moved.zones)] = moved
    return partings


def dragged(shape: SkinShape) -> None:
    shadows = timed("shadows for previews, 4 mm", lambda: preview_shadows(shape, draft_deg=3.0))
    times = []
    for n in range(20):
        wall = PartingWall((1.0, 0.0, 0.0), 2.0 * n - 20.0)
        start = time.perf_counter()
        preview(shadows, [wall], draft_deg=DRAFT_DEG)
        times.append(time.perf_counter() - start)
    low, high = 1000 * np.median(times), 1000 * max(times)
    print(
        f"{'a wall moved: fill and what locks':46s}{low:8.0f} ms in the middle, {high:.0f} at most"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--triangles", type=int, default=400_000)
    parser.add_argument("--pieces", type=int, default=2)
    asked = parser.parse_args()
    small = body_of(60_000)
    shape = skin_of(small, 2.0)
    build_shell(small, shape, chart(small, shape)[asked.pieces], **WALL)
    preview(preview_shadows(shape, draft_deg=3.0), [], draft_deg=3.0)
    body = timed("body", lambda: body_of(asked.triangles))
    shape = timed("skin, 1.5 mm", lambda: skin_of(body, 1.5))
    voxels = shape.phi.size
    partings = timed("chart of 1 to 4 pieces, least number proved", lambda: chart(body, shape))
    parting = partings[asked.pieces]
    built = timed(
        f"skin and shell in {asked.pieces}", lambda: build_shell(body, shape, parting, **WALL)
    )
    thicker = WALL | {"thickness_mm": 10.0}
    timed(
        "one changed figure: the shell 2 mm thicker",
        lambda: build_shell(body, shape, parting, **thicker),
    )
    dragged(shape)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    print(f"{voxels / 1e6:.1f} million voxels; peak {peak / 1e9:.2f} GB, program and meshes in it")
    print(f"fill {built.fill_cm3:.1f} cm3, walls {parting.walls}")


if __name__ == "__main__":
    main()
