"""Plans a run of a job: called in a worker process, everything goes into the run's folder."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firstpull.core.job.kinds import OwnFigure
from firstpull.core.progress import Progress, quiet, within
from firstpull.files.plan_folder import PlanFolder
from firstpull.services.jobs.look import PLAN_FOLDER, SHEET

LONGEST_NAME = 80  # that a sheet takes
PLANNED, WRITTEN = 0.93, 0.97  # shares of the work


@dataclass(frozen=True)
class PlanOrder:
    """What is to be planned, all of it plain.

    Args:
        run_dir: the run's folder; made where it is not there.
        mesh_path: the revision's mesh.
        name: of the job; the part's too where the sheet gives none.
        sheet_text: the job sheet, YAML.
        figures: this shop's own; they win over the material rows.
        file_name: what the mesh is called where it came from; empty takes that of its path.
    """

    run_dir: Path
    mesh_path: Path
    name: str
    sheet_text: str
    figures: tuple[OwnFigure, ...] = ()
    file_name: str = ""


def plan_here(order: PlanOrder, store: Any, *, progress: Progress = quiet) -> dict[str, Any]:
    """Plans the run and lays it out to be looked at.

    ``view`` grows as soon as the mesh is read and checked; ``plan`` appears whole or not at all.

    Args:
        order: the run.
        store: keeps stage results.
        progress: told what is being done and the share of the whole.

    Returns:
        The summary; see run_plan.summary_of.

    Raises:
        WorkshopError: the sheet, the mesh or the shape is refused; says what to do.
    """
    from firstpull.services.jobs.card_picture import write_card
    from firstpull.services.jobs.look_write import ShownStages, View
    from firstpull.services.plan_job import plan_job
    from firstpull.services.run_plan import summary_of, write_plan

    request = _request(order)
    view = View(order.run_dir)
    planning = within(progress, 0.0, PLANNED)
    stages = ShownStages(store, planning, view=view)
    with PlanFolder(request.out_dir) as folder:
        result = plan_job(request, stages, planning, on_read=view.read)
        write_plan(folder, result, progress=within(progress, PLANNED, WRITTEN))
    progress("laying out the view", WRITTEN)
    view.show_planned()
    write_card(order.run_dir, folder.files)
    progress("laying out the view", 1.0)
    return summary_of(result.plan, out=str(request.out_dir), files=folder.files)


def _request(order: PlanOrder) -> Any:
    from firstpull.services.plan_types import PlanRequest

    order.run_dir.mkdir(parents=True, exist_ok=True)
    sheet = order.run_dir / SHEET
    sheet.write_text(_named(order), encoding="utf-8")
    return PlanRequest(
        out_dir=order.run_dir / PLAN_FOLDER,
        mesh_path=order.mesh_path,
        sheet_path=sheet,
        figures=_figures(order),
        mesh_name=order.file_name or None,
    )


def _named(order: PlanOrder) -> str:
    """The sheet's text; a job and a part without a name take that of the job."""
    from firstpull.services.plan_sheet import plain_name
    from firstpull.services.read_sheet import sheet_from_text
    from firstpull.services.write_sheet import SheetNotEdited, with_fields

    _, given = sheet_from_text(order.sheet_text, name=SHEET)
    name = "".join(c for c in order.name if c.isprintable())[:LONGEST_NAME] or "job"
    names = {"job.name": name, "job.part_name": " ".join(plain_name(name).split())}
    missing = {field: name for field, name in names.items() if field not in given}
    try:
        return with_fields(order.sheet_text, missing, name=SHEET) if missing else order.sheet_text
    except SheetNotEdited:  # a good sheet, only in odd lines: then the mesh file gives the name
        return order.sheet_text


def _figures(order: PlanOrder) -> tuple[Any, ...]:
    from firstpull.core.material.own import OwnFigure as Own

    return tuple(
        Own(
            material=own.material,
            figure=own.figure,
            low=own.low,
            typical=own.typical,
            high=own.high,
            note=own.note,
        )
        for own in order.figures
    )
