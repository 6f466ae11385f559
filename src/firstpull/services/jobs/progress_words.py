"""Where does a job stand in each stage, and what does a person do next?"""

from __future__ import annotations

import datetime
from typing import Any, Literal

from firstpull.core.job.kinds import Done, Job, Run, StageName
from firstpull.services.jobs.marks import compared, planned_measures
from firstpull.services.jobs.sheet_read import SheetRead

StageState = Literal["waiting", "working", "attention", "planned", "done"]

ORDER: tuple[StageName, ...] = ("master", "mould", "cast")

REFUSED_IN: dict[str, StageName] = {
    **dict.fromkeys(
        (
            "bad_line",
            "bad_skin",
            "bad_steering",
            "box_smaller_than_flange",
            "cannot_prove",
            "cannot_split",
            "draft_out_of_range",
            "no_parting",
            "no_place_for_bolts",
            "no_pulls",
        ),
        "mould",
    ),
    **dict.fromkeys(("bad_coats", "pot_life_too_short"), "cast"),
}
"""The stage that a refusal of a plan belongs to; all others belong to the master."""

CONFIRMED = {
    "size": ("master.scale", "master.unit"),
    "up": ("master.up",),
    "castings": ("job.good_castings",),
}
"""What only the maker knows, and the fields of the sheet that say it."""


def confirmed(read: SheetRead) -> dict[str, bool]:
    """Whether the maker has said how large, which way up, and how many."""
    return {what: not read.given.isdisjoint(fields) for what, fields in CONFIRMED.items()}


def is_current(job: Job) -> bool:
    """Whether the plan shown is of the newest mesh, and of sheet and figures as they stand."""
    plan = job.last_plan
    if plan is None or not job.revisions:
        return False
    newest = job.revisions[-1]
    if (plan.revision_id, plan.sheet_version) != (newest.id, job.sheet.version):
        return False
    return _rests_on_own(job, plan.summary or {})


def _rests_on_own(job: Job, summary: dict[str, Any]) -> bool:
    """Whether this shop's own figures of the materials used are those that were planned with."""
    if "own_figures" not in summary:  # planned before the summary told
        return True
    used = set(summary["materials"])
    now = {(o.material, o.figure): (o.low, o.typical, o.high) for o in job.own_figures}
    then = {
        (o["material"], o["figure"]): (o["low"], o["typical"], o["high"])
        for o in summary["own_figures"]
    }
    return {k: v for k, v in now.items() if k[0] in used} == {
        k: v for k, v in then.items() if k[0] in used
    }


def stages_told(job: Job) -> list[dict[str, Any]]:
    """Each stage with its state and a few words."""
    summary = job.last_plan.summary if job.last_plan else None
    done = {mark.stage: mark for mark in job.done}
    told = []
    for stage in ORDER:
        if stage in done:
            state, words = "done", _done_words(done[stage], summary)
        else:
            state, words = _open(job, stage, summary)
        told.append({"stage": stage, "state": state, "words": words})
    return told


def next_told(job: Job, read: SheetRead) -> dict[str, Any]:
    """The one thing to do next: a short sentence, and the stage it belongs to."""
    words, stage = _next(job, read)
    return {"words": words, "stage": stage}


def _open(job: Job, stage: StageName, summary: dict[str, Any] | None) -> tuple[StageState, str]:
    """State and words of a stage that is not done."""
    run = job.last_run
    if not job.revisions:
        return "waiting", "no mesh yet"
    failed = _failed(run)
    if failed is not None and _refused_in(failed) == stage:
        return "attention", "the plan stopped here"
    if run is not None and run.is_under_way:
        return "working", "in the queue" if run.state == "waiting" else "being planned"
    if not summary or not summary.get("parts"):
        return "waiting", "waits for the plan"
    part = summary["parts"][0]
    if stage == "mould" and not part["removal_proved"]:
        return "attention", "not proved that it comes apart"
    return "planned", _planned_words(stage, part)


def _planned_words(stage: StageName, part: dict[str, Any]) -> str:
    if stage == "master":
        sides = part.get("printed_mm") or part["size_mm"]
        return " × ".join(f"{side:.0f}" for side in sides) + " mm"
    if stage == "mould":
        pieces = part["shell_pieces"]
        shell = f"{pieces} shell pieces" if pieces != 1 else "shell in 1 piece"
        return f"{part['silicone_g']:.0f} g silicone, {shell}"
    castings = part["castings"]
    each = f"{part['pull_mass_g']['p50']:.0f} g"
    return f"{castings} castings of {each}" if castings != 1 else f"1 casting of {each}"


def _done_words(mark: Done, summary: dict[str, Any] | None) -> str:
    told = compared(mark.stage, mark.measured, planned_measures(summary))
    return "; ".join([f"done {_day(mark.done_on)}", *told])


def _day(day: datetime.date) -> str:
    return f"{day.day} {day:%B %Y}"


def _next(job: Job, read: SheetRead) -> tuple[str, StageName | None]:
    said = confirmed(read)
    if not job.revisions:
        return "Add the mesh", "master"
    if read.problem is not None:
        return "Put the job sheet right", None
    failed = _failed(job.last_run)
    if failed is not None:
        return "Read why the plan stopped", _refused_in(failed)
    if not said["size"]:
        return "Confirm one real dimension", "master"
    if not said["castings"]:
        return "Say how many good castings you want", "cast"
    if not said["up"]:
        return "Check which way is up", "master"
    return _next_of_work(job)


def _next_of_work(job: Job) -> tuple[str, StageName | None]:
    run = job.last_run
    if run is not None and run.is_under_way:
        return "Wait for the plan", None
    if not is_current(job):
        return "Plan the job", None
    done = {mark.stage for mark in job.done}
    if "master" not in done:
        return "Print and finish the master", "master"
    if "mould" not in done:
        part = _part(job)
        if part and not part["removal_proved"]:
            return "Read why the mould may not come apart", "mould"
        return "Make the mould", "mould"
    if "cast" not in done:
        return "Cast and count the good ones", "cast"
    return "Put the job away", None


def _part(job: Job) -> dict[str, Any] | None:
    parts = ((job.last_plan.summary if job.last_plan else None) or {}).get("parts") or [None]
    return parts[0]


def _failed(run: Run | None) -> dict[str, Any] | None:
    """Why the last run failed; None where it did not."""
    return (run.refusal or {}) if run is not None and run.state == "failed" else None


def _refused_in(refusal: dict[str, Any]) -> StageName:
    return REFUSED_IN.get(str(refusal.get("code")), "master")
