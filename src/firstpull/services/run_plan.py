"""Plan one job: worked out in a worker process, written to its folder whole or not at all."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from typing import Any

from firstpull.core.progress import Progress, quiet, within
from firstpull.files.plan_folder import PlanFolder
from firstpull.services.plan_types import PlanRequest, PlanResult
from firstpull.services.stages import Stages, Store
from firstpull.services.worker import run_in_worker

PLANNED = 0.96  # share of the whole at which the plan is worked out and writing begins
PACKET = "packet.pdf"
STL_HEAD_BYTES, STL_FACE_BYTES = 84, 50
JSON_BYTES = 200_000  # more than any plan.json so far

Planner = Callable[[PlanRequest, Stages, Progress], PlanResult]


def run_plan(
    request: PlanRequest,
    *,
    store: Store,
    progress: Progress = quiet,
    on_done: Callable[[dict[str, Any]], None] | None = None,
    planner: Planner | None = None,
) -> dict[str, Any]:
    """Plan the job and write its folder.

    Args:
        request: the job and where its plan goes.
        store: keeps stage results; it is used in the worker.
        progress: told what is being done and the share of the whole.
        on_done: called with the summary once the folder is in place.
        planner: a module-level function that works the plan out; ``None`` takes
            services.plan_job.plan_job.

    Returns:
        The summary: ``out``, ``files`` (relative path to bytes), ``assumed``, and one entry
        of ``parts`` for each part; see ``summary_of``.

    Raises:
        WorkshopError: the folder, the sheet or the mesh is refused; nothing is written.
    """
    with PlanFolder(request.out_dir) as folder:
        result = run_in_worker(
            _work_out, request, store, planner, progress=within(progress, 0.0, PLANNED)
        )
        write_plan(folder, result, progress=within(progress, PLANNED, 1.0))
    summary = summary_of(result.plan, out=str(request.out_dir), files=folder.files)
    if on_done is not None:
        on_done(summary)
    return summary


def _work_out(
    request: PlanRequest, store: Store, planner: Planner | None, *, progress: Progress
) -> PlanResult:
    """Runs in the worker, so that the parent never loads what the geometry needs."""
    plan = planner or importlib.import_module("firstpull.services.plan_job").plan_job
    return plan(request, Stages(store, progress), progress)


def write_plan(folder: PlanFolder, result: PlanResult, *, progress: Progress = quiet) -> None:
    """Every file of a plan, plan.json last."""
    from firstpull.files.write_stl import write_stl

    blobs = {**result.pictures, **result.drawings}
    if result.packet_pdf:
        blobs[PACKET] = result.packet_pdf
    folder.expect(_size_bytes(result, blobs))
    for done, (name, mesh) in enumerate(result.meshes.items()):
        progress("writing files", done / max(len(result.meshes), 1))
        with folder.writing(name) as path:
            write_stl(path, mesh)
    for name, data in blobs.items():
        folder.write_bytes(name, data)
    folder.write_plan(result.plan)
    progress("writing files", 1.0)


def _size_bytes(result: PlanResult, blobs: dict[str, bytes]) -> int:
    solids = sum(STL_HEAD_BYTES + STL_FACE_BYTES * len(m.faces) for m in result.meshes.values())
    return solids + sum(map(len, blobs.values())) + JSON_BYTES


def summary_of(plan: dict[str, Any], *, out: str, files: dict[str, int]) -> dict[str, Any]:
    """What a maker wants to know first, picked out of plan.json; nothing is worked out anew."""
    return {
        "out": out,
        "files": files,
        "assumed": plan.get("assumed", []),
        "materials": [row["id"] for row in plan.get("materials", [])],
        "own_figures": [_own(figure) for figure in plan.get("own_figures", [])],
        "parts": [_part_summary(part, plan.get("warnings", [])) for part in plan["parts"]],
    }


def _own(figure: dict[str, Any]) -> dict[str, Any]:
    return {"material": figure["material"], "figure": figure["figure"], **figure["now"]}


def _part_summary(part: dict[str, Any], warnings: list[str]) -> dict[str, Any]:
    cast, moulds = part["cast"], part["moulds"]
    pieces = [piece for mould in moulds for piece in mould["shell"]["pieces"]]
    coats = cast["coats"]
    return {
        "name": part["name"],
        "size_mm": part["sizes"]["cast"],
        "printed_mm": part["sizes"]["printed"],
        "pull_mass_g": cast["pull_mass_g"],
        "castings": cast["castings"],
        "skin_mm": moulds[0]["skin"]["thickness_mm"],
        "silicone_g": sum(mould["skin"]["mass_g"]["p50"] for mould in moulds),
        "resin_g": sum(coat["a_g"] + coat["b_g"] for coat in coats),
        "powder_g": sum(coat.get("powder_g") or 0.0 for coat in coats),
        "fill_cm3": sum(mould["skin"]["fill_cm3"] for mould in moulds),
        "shell_pieces": len(pieces),
        "removal_proved": all(mould["proof"]["passed"] for mould in moulds if "proof" in mould),
        "shell_g": sum(piece["mass_g"] for piece in pieces),
        "worst_warning": _worst_warning(part, warnings),
    }


def _worst_warning(part: dict[str, Any], warnings: list[str]) -> str:
    """What blocks, then the plan's warnings, worst first, then remarks; empty if all is well."""
    findings = part["master"]["findings"]
    blocking = [f["sentence"] for f in findings if f.get("blocks")]
    remarks = [f["sentence"] for f in findings if not f.get("blocks")]
    return next(iter([*warnings, *blocking, *remarks]), "")
