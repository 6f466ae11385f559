"""A job's sheet: fields set from a form, text put whole, choices locked, figures of one's own."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.core.job.kinds import Job, KeptSheet, OwnFigure
from firstpull.core.job.refusals import ChangedMeanwhile, NoSuchThing
from firstpull.core.material.own import BadOwnFigure
from firstpull.core.material.row import UnknownMaterial
from firstpull.core.sheet import JobSheet, describe_fields
from firstpull.core.sheet_check import BadSheet, check_sheet
from firstpull.services.chosen import NoPlan
from firstpull.services.jobs.own_figures import set_own_figure
from firstpull.services.jobs.sheet_form import sheet_form
from firstpull.services.jobs.sheet_read import sheet_read, sheet_told
from firstpull.services.jobs.sheets import change_sheet, lock_choice, put_sheet_text
from firstpull.services.jobs.take_in import add_revision
from firstpull.services.read_sheet import UnreadableSheet
from firstpull.services.write_sheet import with_fields
from firstpull.store.workspace.desk import WorkspaceDesk
from firstpull.store.workspace.workspace import open_workspace
from workshop_desk import NOW, ended_run, job_with_mesh, received, write_plan

SHEET = """# River parade, second try
job:
  name: heron          # as on the poster
shell:
  kind: printed        # the bandage warped
  thickness_mm: 6

# the rest as always
grid_mm: 2
"""


KEPT = KeptSheet(3, SHEET)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[WorkspaceDesk]:
    with open_workspace(tmp_path / "shop") as workspace:
        yield workspace.desk


@pytest.fixture
def job(desk: WorkspaceDesk) -> Job:
    return job_with_mesh(desk, "heron.stl", sheet=SHEET)


def change(desk: WorkspaceDesk, job: Job, **fields: Any) -> Any:
    named = {name.replace("__", "."): value for name, value in fields.items()}
    return change_sheet(desk, job.id, named, version=job.sheet.version, now=NOW)


def test_fields_are_set_and_taken_out_and_comments_stay(desk: WorkspaceDesk, job: Job) -> None:
    kept = change(
        desk, job, shell__thickness_mm=None, grid_mm=1.5, skin__material="silicone-platinum-30a"
    )
    assert kept.version == 2 and desk.job(job.id).sheet == kept
    assert (
        kept.text
        == """# River parade, second try
job:
  name: heron          # as on the poster
shell:
  kind: printed        # the bandage warped

# the rest as always
grid_mm: 1.5
skin:
  material: silicone-platinum-30a
"""
    )


BAD_FIELDS: list[tuple[dict[str, Any], str]] = [
    ({"skin.thickness_mm": 40}, "The job sheet: skin.thickness_mm is 40 mm; it may be 3 to 15 mm"),
    ({"skin.thickness_mm": "thick"}, 'is "thick"'),
    ({"skin.thicknes_mm": 8}, 'has no field "skin.thicknes_mm".*mean "skin.thickness_mm"'),
    ({"skin": {"thickness_mm": 8}}, 'has no field "skin"'),
    ({"nonsense": 1}, "See the list of fields"),
    ({"skin.material": "silicone-unheard-of"}, "silicone-unheard-of"),
    ({"shell.kind": "laid", "shell.material": "printed-plastic"}, "is laid but made of"),
    ({"cast.face_coat_mm": 3, "cast.wall_mm": 2}, "face coat of 3 mm in a wall of 2 mm"),
    ({"master.up": [0, None, 1]}, "master.up"),
    ({"master.up": [0, 0, 0]}, "three numbers, not all 0"),
    ({"job.name": "a\nb"}, "job.name"),
    ({"skin.thickness_mm": float("nan")}, "skin.thickness_mm"),
    ({"shell.symmetric": 1}, "yes or no"),
]


@pytest.mark.parametrize(("fields", "sentence"), BAD_FIELDS)
def test_what_a_sheet_does_not_take_is_refused_and_nothing_changes(
    desk: WorkspaceDesk, job: Job, fields: dict[str, Any], sentence: str
) -> None:
    with pytest.raises(BadSheet, match=f"(?s){sentence}"):
        change_sheet(desk, job.id, fields, version=1, now=NOW)
    assert desk.job(job.id) == job


def test_two_fields_that_only_fit_together_are_set_together(desk: WorkspaceDesk, job: Job) -> None:
    kept = change(desk, job, shell__kind="laid", shell__material="plaster-bandage")
    assert sheet_read(kept.text).sheet.shell.material_used == "plaster-bandage"


def test_a_change_on_an_old_sheet_is_refused(desk: WorkspaceDesk, job: Job) -> None:
    change(desk, job, grid_mm=1.5)
    with pytest.raises(ChangedMeanwhile, match="version 1 and version 2 stands"):
        change(desk, job, grid_mm=1.2)
    with pytest.raises(ChangedMeanwhile):
        put_sheet_text(desk, job.id, "", version=1, now=NOW)
    with pytest.raises(ChangedMeanwhile):
        lock_choice(desk, job.id, "up", locked=False, version=1, now=NOW)
    with pytest.raises(NoSuchThing):
        change_sheet(desk, "gone", {"grid_mm": 1.5}, version=1, now=NOW)


def test_of_two_that_write_at_once_the_second_is_refused(desk: WorkspaceDesk, job: Job) -> None:
    """The version is minded again where it is kept: what was read first may be old by then."""

    class Slow:
        folder = desk.folder
        save_sheet = staticmethod(desk.save_sheet)

        def job(self, job_id: str) -> Job:
            found = desk.job(job_id)
            desk.save_sheet(job_id, version=1, text="# first\n", now=NOW)
            return found

    with pytest.raises(ChangedMeanwhile):
        change_sheet(Slow(), job.id, {"grid_mm": 1.5}, version=1, now=NOW)  # type: ignore[arg-type]
    assert desk.job(job.id).sheet.text == "# first\n"


def test_text_goes_out_and_comes_back_letter_by_letter(desk: WorkspaceDesk, job: Job) -> None:
    for version, text in enumerate(
        (SHEET, SHEET.replace("\n", "\r\n"), "", "# only words \u00e9\U0001f426\n"), start=1
    ):
        kept = put_sheet_text(desk, job.id, text, version=version, now=NOW)
        assert kept.text == text == desk.job(job.id).sheet.text
    assert put_sheet_text(desk, job.id, "\ufeffgrid_mm: 2", version=5, now=NOW).text == "grid_mm: 2"


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("skin: {thickness_mm: 99}", BadSheet),
        ("a: &x 1", UnreadableSheet),
        ("[1, 2]", UnreadableSheet),
        ("{", UnreadableSheet),
        ("# long\n" * 20_000, UnreadableSheet),
        ("job: {name: \ud800}", UnreadableSheet),
        ("job: {name: a\x00b}", UnreadableSheet),
    ],
)
def test_text_that_is_no_sheet_is_refused_and_nothing_changes(
    desk: WorkspaceDesk, job: Job, text: str, kind: type[BadSheet]
) -> None:
    with pytest.raises(kind):
        put_sheet_text(desk, job.id, text, version=1, now=NOW)
    assert desk.job(job.id) == job


def values_of(field: dict[str, Any]) -> st.SearchStrategy[Any]:
    """Values that a form may send for a field."""
    if field["kind"] == "choice":
        return st.sampled_from([choice["value"] for choice in field["choices"]])
    if field["kind"] == "yes_no":
        return st.booleans()
    if field["kind"] == "whole":
        return st.integers(field["low"], field["high"])
    if field["kind"] == "number":
        low = field["above"] if field["low"] is None else field["low"]
        return st.floats(low + 1e-6, field["high"]).map(lambda v: round(v, 6))
    if field["name"] == "master.up":
        return st.just([0.0, 0.6, 0.8])
    return st.from_regex(
        r"[a-z][a-z\u00e0-\u00f6\u03b1-\u03c90-9_ -]{0,20}[a-z0-9]", fullmatch=True
    )


FORM = {f["name"]: f for group in sheet_form()["groups"] for f in group["fields"]}
SOME = [n for n, f in FORM.items() if f["kind"] != "list" or n == "master.up"]
APART = {"shell.kind", "shell.material", "cast.face_coat_mm", "cast.wall_mm"}


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.sampled_from([n for n in SOME if n not in APART]), unique=True, max_size=6).flatmap(
        lambda names: st.fixed_dictionaries({name: values_of(FORM[name]) for name in names})
    )
)
def test_whatever_a_form_may_send_reads_back_as_it_was_sent(fields: dict[str, Any]) -> None:
    """Set in a sheet with comments, read back, taken out: the comments are all that is left."""
    before = "# top\n# second\n"
    text = with_fields(before, fields)
    read = sheet_read(text)
    assert read.given == set(fields)
    for name, value in fields.items():
        found: Any = read.sheet
        for step in name.split("."):
            found = getattr(found, step)
        assert found == value
    told = sheet_told(replace(KEPT, text=text))
    again = check_sheet(told["values"], place=str)
    assert again == read.sheet and text.startswith(before)
    assert with_fields(text, dict.fromkeys(fields)) == before


def test_a_sheet_is_told_with_what_was_given_and_what_is_assumed() -> None:
    told = sheet_told(KEPT)
    assert told["version"] == 3 and told["text"] == SHEET and told["problems"] == []
    assert told["values"] == {
        "job": {"name": "heron"}, "shell": {"kind": "printed", "thickness_mm": 6.0}, "grid_mm": 2.0
    }  # fmt: skip
    assumed = {entry["field"]: entry for entry in told["assumed"]}
    assert "grid_mm" not in assumed and assumed["skin.thickness_mm"]["value"] == 6.0
    assert set(assumed) | {"job.name", "shell.kind", "shell.thickness_mm", "grid_mm"} == {
        entry.name for entry in describe_fields()
    }
    json.dumps(told)


def test_a_sheet_that_is_no_good_any_more_is_told_with_its_problem() -> None:
    told = sheet_told(KeptSheet(1, "skin: {colour: blue}"))
    assert told["values"] == {} and told["problems"][0]["code"] == "bad_sheet"


# the form


def test_the_form_has_every_field_with_its_range() -> None:
    assert list(FORM) == [entry.name for entry in describe_fields()]
    thickness = FORM["skin.thickness_mm"]
    assert (thickness["kind"], thickness["low"], thickness["high"]) == ("number", 3, 15)
    assert (thickness["unit"], thickness["default"], thickness["empty"]) == ("mm", 6.0, None)
    ratio = FORM["cast.powder_ratio"]
    assert (ratio["above"], ratio["low"], ratio["high"]) == (0, None, 10)
    assert ratio["empty"] == "as usual" and ratio["default"] is None
    kinds = {n: FORM[n]["kind"] for n in ("job.name", "shell.pieces", "shell.symmetric")}
    assert kinds == {"job.name": "text", "shell.pieces": "whole", "shell.symmetric": "yes_no"}
    assert FORM["shell.walls"]["kind"] == "list" and FORM["shell.walls"]["choices"] is None
    assert {"value": "in", "words": "inches"} in FORM["master.unit"]["choices"]
    metal = {choice["value"]: choice["words"] for choice in FORM["cast.powder"]["choices"]}
    assert metal["copper"] == "copper powder, irregular"
    names = [group["name"] for group in sheet_form()["groups"]]
    assert names[0] == "job" and names[-1] == "" and all(g["what"] for g in sheet_form()["groups"])
    json.dumps(sheet_form())


def test_every_choice_of_the_form_is_taken_by_the_sheet() -> None:
    beside = {"shell.kind": "shell.material", "shell.material": "shell.kind"}
    for name, field in FORM.items():
        group, _, key = name.partition(".")
        for choice in field["choices"] or ():
            if name in beside:
                continue
            sheet = check_sheet({group: {key: choice["value"]}}, place=str)
            assert getattr(getattr(sheet, group), key) == choice["value"]


# locks


def test_a_choice_of_the_plan_is_locked_and_let_go(desk: WorkspaceDesk, job: Job) -> None:
    run = ended_run(desk, job.id)
    write_plan(desk, run)
    for version, choice in enumerate(("up", "pieces", "walls", "pulls"), start=1):
        lock_choice(desk, job.id, choice, locked=True, version=version, now=NOW)
    read = sheet_read(desk.job(job.id).sheet.text)
    assert {"master.up", "shell.pieces", "shell.walls", "shell.pulls"} <= read.given
    sheet = read.sheet
    assert sheet.master.up == [0.0, 1.0, 0.0] and sheet.shell.pieces == 2
    assert sheet.shell.walls is not None and sheet.shell.walls[0].through == [0.4, 0.0, 0.0]
    np.testing.assert_allclose(sheet.shell.pulls or [], [[0.6, 0.8, 0], [-0.6, 0.8, 0]])
    for version, choice in enumerate(("pulls", "walls", "pieces", "up"), start=5):
        lock_choice(desk, job.id, choice, locked=False, version=version, now=NOW)
    assert yaml.safe_load(desk.job(job.id).sheet.text) == yaml.safe_load(SHEET)
    assert "# as on the poster" in desk.job(job.id).sheet.text


def test_letting_go_of_what_is_free_changes_nothing(desk: WorkspaceDesk, job: Job) -> None:
    assert lock_choice(desk, job.id, "up", locked=False, version=1, now=NOW) == job.sheet


def test_without_a_plan_of_this_mesh_nothing_is_locked(desk: WorkspaceDesk, job: Job) -> None:
    def lock() -> None:
        lock_choice(desk, job.id, "walls", locked=True, version=1, now=NOW)

    with pytest.raises(NoPlan, match="has no plan of its newest mesh"):
        lock()
    write_plan(desk, ended_run(desk, job.id), pieces=[{"pull": [0, 0, 1]}], walls=[])
    with pytest.raises(NoPlan, match="is in one piece"):
        lock()
    ended_run(desk, job.id)
    with pytest.raises(NoPlan, match=r"holds no plan.json"):
        lock()
    write_plan(desk, ended_run(desk, job.id))
    add_revision(desk, job.id, received(desk), file_name="b.stl", now=NOW)
    with pytest.raises(NoPlan, match="Wait for the plan"):
        lock()
    assert desk.job(job.id).sheet == job.sheet


# figures of one's own


def test_an_own_figure_is_kept_with_its_note(desk: WorkspaceDesk) -> None:
    def set_pot_life(low: float, high: float, note: str = " twelve cups ") -> OwnFigure:
        return set_own_figure(
            desk, "silicone-tin-30a", "pot_life",
            low=low, typical=30.0, high=high, note=note, now=NOW,
        )  # fmt: skip

    kept = set_pot_life(25, 38)
    assert kept.note == "twelve cups" and list(desk.own_figures()) == [kept]
    for low, high, note in [(31, 38, "n"), (25, 29, "n"), (-5, 38, "n"), (25, 38, " ")]:
        with pytest.raises(BadOwnFigure):
            set_pot_life(low, high, note)
    said = {"low": 1.0, "typical": 1.0, "high": 1.0, "note": "n", "now": NOW}
    with pytest.raises(UnknownMaterial):
        set_own_figure(desk, "no-such-row", "pot_life", **said)  # type: ignore[arg-type]
    with pytest.raises(BadOwnFigure, match="does not have"):
        set_own_figure(desk, "silicone-tin-30a", "colour", **said)  # type: ignore[arg-type]
    assert list(desk.own_figures()) == [kept]


def test_what_a_server_asks_of_jobs_loads_no_geometry() -> None:
    modules = [
        "told",
        "sheets",
        "take_in",
        "change",
        "marks",
        "own_figures",
        "sheet_form",
        "demo_job",
    ]
    source = (
        f"import sys\nfor m in {modules}: __import__('firstpull.services.jobs.' + m)\n"
        "print([m for m in ('scipy', 'numba', 'trimesh') if m in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", source], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


def test_a_sheet_without_anything_said_is_all_defaults() -> None:
    assert sheet_read("").sheet == JobSheet() and sheet_read("").given == frozenset()
