"""How long the demo takes from mesh to packet, stage by stage, and how much memory.

    python benchmarks/plan.py [--triangles 400000] [--pieces 2]

Prints a table and decides nothing. Kernels are compiled first by a small plan; the plan
that counts then runs in a store of its own, and again with the skin 1 mm thicker.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from pathlib import Path
from typing import Any

from firstpull.services.plan_job import plan_job
from firstpull.services.plan_types import Overrides, PlanRequest
from firstpull.services.stages import Stages
from firstpull.store.memory import MemoryStore

MOULD = (
    "finding up",
    "finding the show surface",
    "building the body",
    "measuring the stretch",
    "laying the skin",
    "casting shadows",
    "parting in one",
    "parting in two",
    "parting in three and four",
    "weighing the choice",
    "building skin and shell",
)


class TimedStages(Stages):
    """Stages that note how long each took."""

    def __init__(self, store: MemoryStore) -> None:
        super().__init__(store)
        self.rows: list[tuple[str, float, float]] = []

    def run(self, name: str, function: Any, *inputs: Any, **options: Any) -> Any:
        wall, cpu = time.perf_counter(), time.process_time()
        value = super().run(name, function, *inputs, **options)
        self.rows.append((name, time.perf_counter() - wall, time.process_time() - cpu))
        return value


def planned(store: MemoryStore, triangles: int, pieces: int, sheet: Path | None) -> TimedStages:
    """One plan of the demo; its times."""
    stages = TimedStages(store)
    started, cpu = time.perf_counter(), time.process_time()
    plan_job(
        PlanRequest(
            out_dir=Path("nowhere"),
            sheet_path=sheet,
            demo_triangles=triangles,
            overrides=Overrides(shell_pieces=pieces),
        ),
        stages,
    )
    stages.rows.append(("whole plan", time.perf_counter() - started, time.process_time() - cpu))
    return stages


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--triangles", type=int, default=400_000)
    parser.add_argument("--pieces", type=int, default=2)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        sheet, thicker = Path(folder, "job.yaml"), Path(folder, "thicker.yaml")
        sheet.write_text("skin: {thickness_mm: 6}\n")
        thicker.write_text("skin: {thickness_mm: 7}\n")
        planned(MemoryStore(), 60_000, args.pieces, sheet)
        store = MemoryStore()
        first = planned(store, args.triangles, args.pieces, sheet)
        again = planned(store, args.triangles, args.pieces, thicker)
    print(f"demo, {args.triangles:,} triangles asked for, {args.pieces} shell pieces")
    print(f"{'stage':28} {'wall s':>8} {'cpu s':>8} {'skin changed, wall s':>22}")
    later = {name: wall for name, wall, _ in again.rows}
    for name, wall, cpu in first.rows:
        told = (
            f"{later[name]:22.2f}" if name in again.ran or name == "whole plan" else f"{'kept':>22}"
        )
        print(f"{name:28} {wall:8.2f} {cpu:8.2f} {told}")
    mould = [(wall, cpu) for name, wall, cpu in first.rows if name in MOULD]
    print(f"{'the mould alone':28} {sum(w for w, _ in mould):8.2f} {sum(c for _, c in mould):8.2f}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak:,.0f} MB (with the store in memory)")


if __name__ == "__main__":
    main()
