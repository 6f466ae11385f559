"""Compile the numeric kernels ahead of the first job: ``python -m firstpull.cli.warm``.

Compiled kernels are kept beside their sources, so this is needed once for each version.
"""

from __future__ import annotations

import importlib
import importlib.util
import pkgutil
import sys
import tempfile
import time
from pathlib import Path

import firstpull.core
from firstpull import wiring
from firstpull.core.demo.broken import METRE_MM, broken_heron
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.check.defects import find_defects
from firstpull.core.mesh.mending.mend import mend
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.revision.compare import compare
from firstpull.core.progress import quiet
from firstpull.services.plan_types import PlanRequest

PLANNER = "firstpull.services.plan_job"
TINY_TRIANGLES = 50_000  # the least the demo is built with


def warm() -> int:
    """Import every module of core, mend the broken demo, plan a tiny one; how many modules.

    Kernels with written-out types compile on import, the others when the tiny plan calls
    them. Nothing is written but the compiled kernels.
    """
    names = [m.name for m in pkgutil.walk_packages(firstpull.core.__path__, "firstpull.core.")]
    for name in names:
        importlib.import_module(name)
    broken = broken_heron().mesh
    in_mm = Mesh(METRE_MM * broken.vertices_mm, broken.faces)
    find_defects(in_mm)
    mended = mend(in_mm)
    if mended.kept is not None:
        compare(mended.kept, mended.mesh)
    if importlib.util.find_spec(PLANNER) is not None:
        planner = importlib.import_module(PLANNER)
        with tempfile.TemporaryDirectory() as folder:
            request = PlanRequest(out_dir=Path(folder), demo_triangles=TINY_TRIANGLES)
            planner.plan_job(request, wiring.forgetful_stages(), quiet)
    return len(names)


def main() -> None:
    """Warm up and say how long it took; a refusal here must not stop the set-up."""
    start = time.perf_counter()
    try:
        warm()
    except WorkshopError as refusal:
        sys.stderr.write(f"Kernels will compile on first use: {refusal}\n")
        return
    sys.stderr.write(f"Kernels compiled in {time.perf_counter() - start:.0f} s.\n")


if __name__ == "__main__":
    main()
