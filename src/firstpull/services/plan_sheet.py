"""The job sheet of a request: the file's answers, then those given beside it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from firstpull.core.demo import demo_sheet
from firstpull.core.job.naming import plain_name
from firstpull.core.sheet import JobSheet
from firstpull.core.sheet_check import BadSheet, check_sheet, with_answers
from firstpull.services.plan_types import PlanRequest
from firstpull.services.read_sheet import read_sheet

WRONG_USAGE = "wrong_usage"  # the code of a refusal that comes of an option
OPTIONS = {
    "master.unit": ("unit", "Option --unit"),
    "master.scale": ("scale", "Option --scale"),
    "master.up": ("up", "Option --up"),
    "master.wall_mm": ("wall_mm", "Option --wall"),
    "shell.pieces": ("shell_pieces", "Option --shell-pieces"),
    "packet.paper": ("paper", "Option --paper"),
}


def sheet_for(request: PlanRequest) -> tuple[JobSheet, set[str]]:
    """The sheet, and the dotted names of the fields that somebody gave.

    Raises:
        BadSheet: a field or an option is out of its range; says where.
    """
    if request.sheet_path is not None:
        sheet, given = read_sheet(request.sheet_path)
    elif request.is_demo:
        values = demo_sheet()
        sheet = check_sheet(values, place=lambda field: f"Demo sheet, {field}")
        given = {f"{group}.{name}" for group, fields in values.items() for name in fields}
    else:
        sheet, given = JobSheet(), set()
    answers = _answers(request)
    if answers:
        sheet = _with_options(sheet, answers)
    return _named_after_file(sheet, given, request), given | set(answers)


def _with_options(sheet: JobSheet, answers: dict[str, Any]) -> JobSheet:
    try:
        return with_answers(sheet, answers, place=lambda field: OPTIONS.get(field, ("", field))[1])
    except BadSheet as bad:
        bad.code = WRONG_USAGE
        raise


def _answers(request: PlanRequest) -> dict[str, Any]:
    """What was said beside the sheet, by field."""
    said = {field: getattr(request.overrides, name) for field, (name, _) in OPTIONS.items()}
    return {
        field: list(value) if isinstance(value, tuple) else value
        for field, value in said.items()
        if value is not None
    }


def _named_after_file(sheet: JobSheet, given: set[str], request: PlanRequest) -> JobSheet:
    """A job without a name takes that of its mesh file."""
    if request.mesh_path is None:
        return sheet
    stem = plain_name(Path(request.mesh_name or request.mesh_path.name).stem)
    names = {"job.name": stem, "job.part_name": stem}
    missing = {field: name for field, name in names.items() if field not in given}
    return with_answers(sheet, missing, place=str) if missing else sheet
