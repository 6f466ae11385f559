"""Jobs come in, change, are copied, deleted and brought back; and how their cards read."""

from __future__ import annotations

import datetime
import errno
import json
import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firstpull.core.errors import WorkshopError
from firstpull.core.job.kinds import Done, OwnFigure
from firstpull.core.job.refusals import ChangedMeanwhile, DiscFull, NoSuchThing
from firstpull.core.sheet_check import BadSheet
from firstpull.services.jobs import demo_job as demo_module
from firstpull.services.jobs import take_in
from firstpull.services.jobs.change import (
    change_job,
    delete_job,
    restore_job,
    sweep_deleted,
)
from firstpull.services.jobs.demo_job import DEMO_FILE, demo_job, demo_once
from firstpull.services.jobs.marks import BadMark, mark_done, stages, unmark_done
from firstpull.services.jobs.progress_words import REFUSED_IN
from firstpull.services.jobs.sheets import change_sheet, put_sheet_text
from firstpull.services.jobs.take_in import add_revision, copy_job, new_job_from
from firstpull.services.jobs.told import card_told, job_told
from firstpull.store.workspace.desk import WorkspaceDesk
from firstpull.store.workspace.workspace import open_workspace
from workshop_desk import DAY, NOW, PART, SUMMARY, ended_run, job_with_mesh, later, received

ALL_SAID = "job: {good_castings: 6}\nmaster: {scale: 1, up: [0, 0, 1]}\n"


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[WorkspaceDesk]:
    with open_workspace(tmp_path / "shop") as workspace:
        yield workspace.desk


def files_in(desk: WorkspaceDesk) -> list[str]:
    return sorted(
        p.relative_to(desk.folder).as_posix()
        for p in (desk.folder / "jobs").rglob("*")
        if p.is_file()
    )


# coming in


def test_a_mesh_makes_a_job_named_after_it(desk: WorkspaceDesk) -> None:
    source = received(desk, b"solid heron")
    due = datetime.date(2027, 5, 3)
    job = new_job_from(desk, source, file_name="Heron mask (v2).STL", now=NOW, due_on=due)
    (revision,) = job.revisions
    assert (job.name, job.due_on) == ("Heron mask  v2", due)
    assert revision.path == f"jobs/{job.id}/mesh/1-heron-mask-v2.stl"
    assert (revision.file_name, revision.size_bytes) == ("Heron mask (v2).STL", 11)
    assert (desk.folder / revision.path).read_bytes() == b"solid heron" and not source.exists()


@pytest.mark.parametrize(
    "name", ["../../../etc/passwd", "..\\..\\evil.stl", "/abs/olute.stl", "a\x00b\n.stl", "", ".."]
)
def test_a_name_from_outside_never_leads_out_of_the_jobs_folder(
    desk: WorkspaceDesk, name: str
) -> None:
    job = job_with_mesh(desk, name)
    home = desk.folder / "jobs" / job.id / "mesh"
    assert (desk.folder / job.revisions[0].path).resolve().parent == home
    assert not {"/", "\\", "\x00", "\n"} & set(job.revisions[0].file_name)


def test_a_job_can_be_named_and_a_bad_name_leaves_nothing(desk: WorkspaceDesk) -> None:
    assert job_with_mesh(desk, name="Heron", **{}).name == "Heron"
    source = received(desk)
    for name in ("x" * 81, "a\nb", " "):
        with pytest.raises(BadSheet, match="The name of the job"):
            new_job_from(desk, source, file_name="a.stl", name=name, now=NOW)
    assert len(desk.jobs()) == 1 and source.exists()


def test_a_full_disc_leaves_no_job_and_the_file_where_it_was(
    desk: WorkspaceDesk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(source: Path, target: Path) -> None:
        target.write_bytes(b"half")
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(take_in, "_linked", full)
    source = received(desk)
    with pytest.raises(DiscFull, match="no room for the mesh"):
        new_job_from(desk, source, file_name="a.stl", now=NOW)
    assert list(desk.jobs()) == [] and files_in(desk) == [] and source.exists()


def test_where_files_have_one_name_only_they_are_copied(
    desk: WorkspaceDesk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unlinkable(*_: object) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", unlinkable)
    source = received(desk, b"solid")
    job = new_job_from(desk, source, file_name="a.stl", now=NOW)
    assert (desk.folder / job.revisions[0].path).read_bytes() == b"solid" and not source.exists()


def test_a_new_mesh_becomes_the_next_revision(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk, "heron.stl")
    again = add_revision(desk, job.id, received(desk, b"new"), file_name="heron.stl", now=later(1))
    assert [r.number for r in again.revisions] == [1, 2]
    assert [Path(r.path).name for r in again.revisions] == ["1-heron.stl", "2-heron.stl"]
    assert again.changed_at == later(1) and again.version == job.version


def test_meshes_that_come_at_once_do_not_meet_on_the_disc(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk, "heron.stl")
    sources = [received(desk, str(n).encode()) for n in range(6)]

    def add(source: Path) -> None:
        add_revision(desk, job.id, source, file_name="heron.stl", now=NOW)

    with ThreadPoolExecutor(6) as pool:
        list(pool.map(add, sources))
    revisions = desk.job(job.id).revisions
    texts = {(desk.folder / r.path).read_bytes() for r in revisions}
    assert len(revisions) == 7 and texts == {b"solid", *(str(n).encode() for n in range(6))}


def test_a_revision_that_is_not_kept_gives_the_file_back(desk: WorkspaceDesk) -> None:
    source = received(desk)
    with pytest.raises(NoSuchThing):
        add_revision(desk, "gone", source, file_name="a.stl", now=NOW)
    job = job_with_mesh(desk)

    class Failing:
        folder = desk.folder
        job = staticmethod(desk.job)

        def add_revision(self, *_: Any, **__: Any) -> None:
            raise DiscFull(where="The disc", found="is full")

    with pytest.raises(DiscFull):
        add_revision(Failing(), job.id, source, file_name="b.stl", now=NOW)  # type: ignore[arg-type]
    assert source.exists() and len(files_in(desk)) == 1


def test_a_copy_has_the_meshes_and_the_sheet_and_nothing_done(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk, "heron.stl", sheet="job:\n  name: Heron  # poster\n")
    add_revision(desk, job.id, received(desk, b"new"), file_name="b.stl", now=NOW)
    mark_done(desk, job.id, Done("master", NOW.date()), now=NOW)
    copy = copy_job(desk, job.id, now=later(1))
    assert copy.id != job.id and copy.name == "heron, copy" and copy.done == ()
    assert copy.sheet.text == 'job:\n  name: "heron, copy"  # poster\n'
    assert [Path(r.path).name for r in copy.revisions] == ["1-heron.stl", "2-b.stl"]
    for mine, theirs in zip(copy.revisions, desk.job(job.id).revisions, strict=True):
        assert (desk.folder / mine.path).samefile(desk.folder / theirs.path)
    desk.sweep_job(job.id)
    assert (desk.folder / copy.revisions[1].path).read_bytes() == b"new"


def test_a_copy_that_fails_leaves_nothing(
    desk: WorkspaceDesk, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = job_with_mesh(desk, "x" * 78 + ".stl")
    (desk.folder / job.revisions[0].path).unlink()
    with pytest.raises(FileNotFoundError):
        copy_job(desk, job.id, now=NOW)
    assert [j.id for j in desk.jobs()] == [job.id]


@pytest.mark.long
def test_the_demo_comes_with_its_mesh_and_its_sheet(desk: WorkspaceDesk) -> None:
    job = demo_job(desk, now=NOW, triangles=50_000)
    card = card_told(job)
    assert (card["castings"], card["file_name"]) == (6, DEMO_FILE)
    assert "bronze-irregular" in job.sheet.text
    assert job.revisions[0].size_bytes == pytest.approx(50 * 50_000, rel=0.1)
    assert not [p for p in desk.folder.iterdir() if p.name.startswith(".demo")]


def test_the_demo_is_not_put_beside_another(
    desk: WorkspaceDesk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def quick(function: object, mesh: Path, triangles: int, **_: Any) -> dict[str, Any]:
        mesh.write_bytes(b"solid")
        return {"job.name": "Heron, parade", "job.good_castings": 6}

    monkeypatch.setattr(demo_module, "run_in_worker", quick)
    job = demo_once(desk, now=NOW)
    assert job is not None and job.name == "Heron, parade"
    assert job.sheet.text == 'job:\n  name: "Heron, parade"\n  good_castings: 6\n'
    assert demo_once(desk, now=NOW) is None
    change_job(desk, job.id, {"archived": True}, version=1, now=NOW)
    assert demo_once(desk, now=NOW) is None and len(desk.jobs()) == 0
    delete_job(desk, job.id, now=NOW)
    assert demo_once(desk, now=NOW) is not None


# changing


def test_a_card_is_renamed_dated_and_put_away(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk)
    due = datetime.date(2027, 5, 3)
    named = change_job(desk, job.id, {"name": " Egret ", "due_on": due}, version=1, now=NOW)
    assert (named.name, named.due_on, named.version) == ("Egret", due, 2)
    away = change_job(desk, job.id, {"archived": True, "due_on": None}, version=2, now=later(1))
    assert (away.archived_at, away.due_on, away.name) == (later(1), None, "Egret")
    back = change_job(desk, job.id, {"archived": False}, version=3, now=later(2))
    assert back.archived_at is None and [j.id for j in desk.jobs()] == [job.id]
    with pytest.raises(ChangedMeanwhile):
        change_job(desk, job.id, {"name": "late"}, version=3, now=NOW)
    with pytest.raises(BadSheet):
        change_job(desk, job.id, {"name": ""}, version=4, now=NOW)


def test_card_and_sheet_bear_one_name(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk, sheet="job: {name: Heron}  # on the poster\n")
    change_job(desk, job.id, {"name": "Egret: second"}, version=1, now=NOW)
    assert desk.job(job.id).sheet.text == 'job: {name: "Egret: second"}  # on the poster\n'
    change_sheet(desk, job.id, {"job.name": "Otter"}, version=2, now=NOW)
    assert desk.job(job.id).name == "Otter"
    put_sheet_text(desk, job.id, "job: {name: Vole}", version=3, now=NOW)
    assert desk.job(job.id).name == "Vole"
    plain = job_with_mesh(desk)
    change_job(desk, plain.id, {"name": "Egret"}, version=1, now=NOW)
    assert desk.job(plain.id).sheet == plain.sheet


def test_deleting_is_undone_until_it_is_swept(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk)
    ended_run(desk, job.id)
    before = desk.job(job.id)
    gone = delete_job(desk, job.id, now=later(1))
    assert gone.deleted_at == later(1) and list(desk.jobs()) == []
    assert delete_job(desk, job.id, now=later(2)).deleted_at == later(1)
    assert sweep_deleted(desk, now=later(30.9)) == ()
    back = restore_job(desk, job.id, now=later(3))
    assert replace(back, version=before.version, changed_at=before.changed_at) == before
    assert restore_job(desk, job.id, now=later(3)) == back
    delete_job(desk, job.id, now=later(4))
    other = delete_job(desk, job_with_mesh(desk).id, now=later(20))
    assert sweep_deleted(desk, now=later(34)) == (job.id,)
    assert [j.id for j in desk.deleted()] == [other.id] and len(files_in(desk)) == 1
    with pytest.raises(NoSuchThing):
        restore_job(desk, job.id, now=later(34))
    assert sweep_deleted(desk, now=later(21), older_than=DAY) == (other.id,)


# marks


def test_each_stage_says_what_can_be_measured() -> None:
    told = stages()
    assert [stage["stage"] for stage in told] == ["master", "mould", "cast"]
    assert all(m["what"] and m["name"].endswith(m["unit"]) for s in told for m in s["measured"])


BAD_MARKS: list[tuple[Done, str]] = [
    (Done("cast", later(2).date()), "is for 2026-11-29; that day has not come yet"),
    (Done("cast", NOW.date(), {"width_mm": 3.0}), "it knows mass_g, castings"),
    (Done("cast", NOW.date(), {"mass_g": 0.0}), "is 0; it must be above 0"),
    (Done("cast", NOW.date(), {"mass_g": float("nan")}), "is nan"),
    (Done("cast", NOW.date(), {"mass_g": 1e9}), r"up to 1,000,000"),
    (Done("cast", NOW.date(), {"castings": 2.5}), "a whole number from 0"),
    (Done("cast", NOW.date(), {"castings": -1.0}), "castings made, is -1"),
    (Done("cast", NOW.date(), {}, "x" * 2001), "a note of 2001 letters"),
]


@pytest.mark.parametrize(("mark", "sentence"), BAD_MARKS)
def test_a_mark_that_cannot_be_is_refused(desk: WorkspaceDesk, mark: Done, sentence: str) -> None:
    job = job_with_mesh(desk)
    with pytest.raises(BadMark, match=sentence):
        mark_done(desk, job.id, mark, now=NOW)
    assert desk.job(job.id) == job


def test_a_stage_that_does_not_exist_is_refused(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk)
    with pytest.raises(NoSuchThing, match="there are master, mould, cast"):
        unmark_done(desk, job.id, "paint", now=NOW)
    with pytest.raises(NoSuchThing):
        mark_done(desk, job.id, Done("paint", NOW.date()), now=NOW)  # type: ignore[arg-type]


# cards


def stage_words(desk: WorkspaceDesk, job_id: str) -> dict[str, tuple[str, str]]:
    told = card_told(desk.job(job_id))["stages"]
    return {entry["stage"]: (entry["state"], entry["words"]) for entry in told}


def next_words(desk: WorkspaceDesk, job_id: str) -> str:
    return str(card_told(desk.job(job_id))["next"]["words"])


def test_a_card_tells_what_the_list_shows(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk, "Heron.stl", sheet=ALL_SAID, due_on=datetime.date(2027, 5, 3))
    run = ended_run(desk, job.id)
    card = card_told(desk.job(job.id))
    assert card["due_on"] == "2027-05-03" and card["made_at"] == "2026-11-27T09:30:00Z"
    assert (card["castings"], card["file_name"], card["revision_count"]) == (6, "Heron.stl", 1)
    assert card["picture"] == f"/api/runs/{run.id}/card"
    assert (card["plan_id"], card["plan_is_current"]) == (run.id, True)
    assert card["run"]["revision_number"] == 1 and "summary" not in card["run"]
    told = job_told(desk.job(job.id))
    assert told["summary"] == SUMMARY and told["sheet_version"] == 1
    assert told["confirmed"] == {"size": True, "up": True, "castings": True}
    assert {**told, **card} == told
    json.dumps(told, allow_nan=False)


def test_stages_follow_the_plan(desk: WorkspaceDesk) -> None:
    bare = desk.add_job("bare", now=NOW)
    assert set(stage_words(desk, bare.id).values()) == {("waiting", "no mesh yet")}
    job = job_with_mesh(desk)
    assert set(stage_words(desk, job.id).values()) == {("waiting", "waits for the plan")}
    run = desk.add_run(job.id, now=NOW)
    assert set(stage_words(desk, job.id).values()) == {("working", "in the queue")}
    desk.save_run(replace(run, state="working"))
    assert set(stage_words(desk, job.id).values()) == {("working", "being planned")}
    desk.save_run(replace(run, state="done", summary=SUMMARY))
    assert stage_words(desk, job.id) == {
        "master": ("planned", "176 × 190 × 121 mm"),
        "mould": ("planned", "396 g silicone, 2 shell pieces"),
        "cast": ("planned", "8 castings of 218 g"),
    }
    one = {**SUMMARY, "parts": [{**PART, "castings": 1, "shell_pieces": 1}]}
    desk.save_run(replace(run, state="done", summary=one))
    assert stage_words(desk, job.id)["mould"][1] == "396 g silicone, shell in 1 piece"
    assert stage_words(desk, job.id)["cast"][1] == "1 casting of 218 g"


@pytest.mark.parametrize(
    ("code", "stage"), [("show_unclear", "master"), ("no_pulls", "mould"), ("bad_coats", "cast")]
)
def test_a_plan_that_stopped_wants_attention_where_it_stopped(
    desk: WorkspaceDesk, code: str, stage: str
) -> None:
    job = job_with_mesh(desk, sheet=ALL_SAID)
    ended_run(desk, job.id)
    ended_run(desk, job.id, state="failed", summary=None, refusal={"code": code})
    words = stage_words(desk, job.id)
    assert [name for name, (state, _) in words.items() if state == "attention"] == [stage]
    told = card_told(desk.job(job.id))["next"]
    assert told == {"words": "Read why the plan stopped", "stage": stage}


def test_every_code_that_is_laid_to_a_stage_is_one_of_the_programs() -> None:
    import firstpull.core.cast.plan
    import firstpull.services.plan_job  # noqa: F401

    def codes(kind: type[WorkshopError]) -> set[str]:
        return {kind.code}.union(*(codes(sub) for sub in kind.__subclasses__()))

    assert set(REFUSED_IN) <= codes(WorkshopError)


def test_a_mould_that_is_not_proved_wants_attention(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk, sheet=ALL_SAID)
    ended_run(desk, job.id, summary={"parts": [{**PART, "removal_proved": False}]})
    assert stage_words(desk, job.id)["mould"][0] == "attention"
    mark_done(desk, job.id, Done("master", NOW.date()), now=NOW)
    assert next_words(desk, job.id) == "Read why the mould may not come apart"
    assert card_told(desk.job(job.id))["picture"] is None


def test_what_was_measured_stands_beside_what_was_planned(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk)
    day = datetime.date(2026, 11, 3)
    mark_done(desk, job.id, Done("cast", day, {"mass_g": 212.0, "castings": 7}), now=NOW)
    assert stage_words(desk, job.id)["cast"] == (
        "done", "done 3 November 2026; 212 g measured; 7 castings made"
    )  # fmt: skip
    ended_run(desk, job.id)
    assert stage_words(desk, job.id)["cast"][1] == (
        "done 3 November 2026; 212 g measured, 205 to 231 g planned; 7 castings made, 8 planned"
    )
    mark_done(desk, job.id, Done("master", day, {"height_mm": 121.0}), now=NOW)
    assert stage_words(desk, job.id)["master"][1].endswith("121 mm measured, 121.3 mm planned")
    mark_done(desk, job.id, Done("mould", day, {"thickness_mm": 6.4}), now=NOW)
    assert stage_words(desk, job.id)["mould"][1].endswith("6.4 mm measured, 6 mm planned")


def test_what_comes_next_leads_through_the_work(desk: WorkspaceDesk) -> None:
    bare = desk.add_job("bare", now=NOW)
    assert next_words(desk, bare.id) == "Add the mesh"
    job = job_with_mesh(desk)
    assert next_words(desk, job.id) == "Confirm one real dimension"
    change_sheet(desk, job.id, {"master.unit": "mm"}, version=1, now=NOW)
    assert next_words(desk, job.id) == "Say how many good castings you want"
    change_sheet(desk, job.id, {"job.good_castings": 4}, version=2, now=NOW)
    assert next_words(desk, job.id) == "Check which way is up"
    change_sheet(desk, job.id, {"master.up": [0, 0, 1]}, version=3, now=NOW)
    assert next_words(desk, job.id) == "Plan the job"
    run = desk.add_run(job.id, now=NOW)
    assert next_words(desk, job.id) == "Wait for the plan"
    desk.save_run(replace(run, state="done", summary=SUMMARY))
    for stage, words in [
        ("master", "Print and finish the master"),
        ("mould", "Make the mould"),
        ("cast", "Cast and count the good ones"),
    ]:
        assert next_words(desk, job.id) == words
        mark_done(desk, job.id, Done(stage, NOW.date()), now=NOW)  # type: ignore[arg-type]
    assert next_words(desk, job.id) == "Put the job away"


def test_a_plan_of_an_older_mesh_or_sheet_is_not_current(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk)
    ended_run(desk, job.id)
    change_sheet(desk, job.id, {"grid_mm": 2}, version=1, now=NOW)
    assert card_told(desk.job(job.id))["plan_is_current"] is False
    ended_run(desk, job.id)
    assert card_told(desk.job(job.id))["plan_is_current"] is True
    add_revision(desk, job.id, received(desk), file_name="b.stl", now=NOW)
    card = card_told(desk.job(job.id))
    assert card["plan_is_current"] is False and card["plan_id"] is not None


def test_a_plan_is_not_current_once_a_figure_it_rests_on_is_another(desk: WorkspaceDesk) -> None:
    """Setting or dropping an own figure of a material that is used; any other does not matter."""
    job = job_with_mesh(desk)
    run = ended_run(desk, job.id)
    summary = {**SUMMARY, "materials": ["silicone-tin-30a"], "own_figures": []}
    desk.save_run(replace(run, summary=summary))

    def own(material: str, typical: float) -> None:
        desk.save_own_figure(OwnFigure(material, "density", 1.0, typical, 1.3, "weighed", NOW))

    own("urethane-fast", 1.1)
    assert card_told(desk.job(job.id))["plan_is_current"] is True
    own("silicone-tin-30a", 1.2)
    assert card_told(desk.job(job.id))["plan_is_current"] is False
    planned = {"material": "silicone-tin-30a", "figure": "density"}
    figures = [{**planned, "low": 1.0, "typical": 1.2, "high": 1.3}]
    desk.save_run(replace(run, summary={**summary, "own_figures": figures}))
    assert card_told(desk.job(job.id))["plan_is_current"] is True
    desk.drop_own_figure("silicone-tin-30a", "density")
    assert card_told(desk.job(job.id))["plan_is_current"] is False


def test_a_sheet_that_is_no_good_any_more_spoils_no_card(desk: WorkspaceDesk) -> None:
    job = job_with_mesh(desk, sheet="skin: {colour: blue}\n")
    card = card_told(job)
    assert card["next"] == {"words": "Put the job sheet right", "stage": None}
    assert card["castings"] is None
