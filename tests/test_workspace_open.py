"""Opening a workspace: who holds it, which version wrote it, and what is damaged."""

from __future__ import annotations

import datetime
import multiprocessing
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import create_engine

from firstpull.core.errors import WorkshopError
from firstpull.core.job.refusals import DiscFull
from firstpull.store.workspace import lock, migrate
from firstpull.store.workspace.refusals import (
    DATABASE,
    LAST_START,
    BadWorkspace,
    MigrationFailed,
    WorkspaceDamaged,
    WorkspaceInUse,
    WorkspaceNotWritten,
    WorkspaceTooNew,
)
from firstpull.store.workspace.tables import Base, Moment
from firstpull.store.workspace.workspace import open_workspace
from workshop_desk import NOW


def state_of(folder: Path) -> dict[str, bytes]:
    """Every file of a folder but the lock, with its bytes."""
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir()) if p.name != lock.NAME}


def names_in(database: Path) -> list[str]:
    with sqlite3.connect(database) as held:
        return [row[0] for row in held.execute("SELECT name FROM jobs ORDER BY name")]


def a_workspace(folder: Path, *names: str) -> Path:
    with open_workspace(folder) as workspace:
        for name in names:
            workspace.desk.add_job(name, now=NOW, sheet="# as on the poster\n" * 500)
    return folder


def hold(folder: Path, pipe: Connection) -> None:
    """Runs in a process of its own: holds the workspace until it is told or killed."""
    with open_workspace(folder, address="http://127.0.0.1:8321/") as workspace:
        workspace.desk.add_job("from the other process", now=NOW)
        pipe.send(os.getpid())
        pipe.recv()


@pytest.fixture
def holder(tmp_path: Path) -> Any:
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=hold, args=(tmp_path / "shop", theirs))
    process.start()
    yield tmp_path / "shop", process, ours, ours.recv()
    process.kill()
    process.join()


def test_a_new_workspace_is_made_with_its_parents_and_found_again(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "shop"
    a_workspace(folder, "heron")
    with open_workspace(folder) as workspace:
        assert workspace.folder == folder
        assert [job.name for job in workspace.desk.jobs()] == ["heron"]


def test_a_second_process_is_told_who_holds_it_and_where(holder: Any) -> None:
    folder, _, _, pid = holder
    with pytest.raises(WorkspaceInUse) as refusal:
        open_workspace(folder)
    assert f"process {pid}" in refusal.value.found
    assert "http://127.0.0.1:8321/" in refusal.value.remedy
    assert refusal.value.code == "workspace_in_use"


def test_a_workspace_that_was_let_go_opens_with_what_was_kept(holder: Any) -> None:
    folder, process, pipe, _ = holder
    pipe.send("close")
    process.join(20)
    with open_workspace(folder) as workspace:
        assert [job.name for job in workspace.desk.jobs()] == ["from the other process"]


@pytest.mark.skipif(sys.platform == "win32", reason="no such signal there")
def test_a_process_that_was_killed_holds_nothing_and_loses_nothing(holder: Any) -> None:
    folder, process, _, pid = holder
    os.kill(pid, signal.SIGKILL)
    process.join(20)
    with open_workspace(folder) as workspace:
        assert [job.name for job in workspace.desk.jobs()] == ["from the other process"]


def test_the_same_process_does_not_open_it_twice_either(tmp_path: Path) -> None:
    with open_workspace(tmp_path), pytest.raises(WorkspaceInUse, match="Close that process"):
        open_workspace(tmp_path)
    open_workspace(tmp_path).close()


def test_a_lock_that_tells_nothing_is_a_lock_all_the_same(tmp_path: Path) -> None:
    with open_workspace(tmp_path):
        (tmp_path / lock.NAME).write_bytes(b"\xff not json")
        with pytest.raises(WorkspaceInUse, match="is open in another process"):
            open_workspace(tmp_path)


def test_what_fails_while_opening_lets_the_lock_go(tmp_path: Path) -> None:
    (tmp_path / DATABASE).write_bytes(b"no database at all, only words")
    for _ in range(2):
        with pytest.raises(WorkspaceDamaged):
            open_workspace(tmp_path)


def test_a_file_or_a_folder_that_is_not_ours_to_write_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("words")
    for where in (tmp_path / "file", tmp_path / "file" / "inside"):
        with pytest.raises(BadWorkspace, match="--workspace"):
            open_workspace(where)

    def unlockable(file: object) -> None:
        raise OSError(37, "No locks available")

    monkeypatch.setattr(lock, "_take", unlockable)
    with pytest.raises(BadWorkspace, match=r"locked \(no locks available\)"):
        open_workspace(tmp_path / "shop")


def test_every_connection_keeps_foreign_keys_and_a_log(tmp_path: Path) -> None:
    with open_workspace(tmp_path) as workspace:
        database = workspace.desk._database
        with database.engine.connect() as one, database.engine.connect() as two:
            for connection in (one, two):
                for pragma, value in (("foreign_keys", 1), ("journal_mode", "wal")):
                    assert connection.exec_driver_sql(f"PRAGMA {pragma}").scalar() == value
                assert connection.exec_driver_sql("PRAGMA busy_timeout").scalar() == 5000


def test_the_steps_lead_to_the_tables(tmp_path: Path) -> None:
    a_workspace(tmp_path)
    engine = create_engine(f"sqlite:///{tmp_path / DATABASE}")

    def told(context: Any, column: Any, mine: Any, kept: Any, theirs: Any) -> bool | None:
        return False if isinstance(theirs, Moment) else None

    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": told})
        assert compare_metadata(context, Base.metadata) == []
        drop = compare_metadata(context, type(Base.metadata)())
        assert len(drop) >= 5  # the comparison sees what differs


def test_an_empty_file_is_a_new_database(tmp_path: Path) -> None:
    (tmp_path / DATABASE).touch()
    assert names_in(a_workspace(tmp_path, "heron") / DATABASE) == ["heron"]


# versions


def a_step(folder: Path, monkeypatch: pytest.MonkeyPatch, body: str) -> None:
    """One more step behind the last of the package."""
    folder.mkdir(exist_ok=True)
    head = migrate._script().get_current_head()
    source = f'from alembic import op\nrevision = "0099"\ndown_revision = "{head}"\n'
    (folder / "next_step.py").write_text(f"{source}\ndef upgrade():\n    {body}\n")
    monkeypatch.setattr(migrate, "VERSIONS", (*migrate.VERSIONS, folder))


def test_a_step_is_run_after_a_copy_was_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = a_workspace(tmp_path / "shop", "heron")
    a_step(tmp_path / "steps", monkeypatch, "op.execute(\"UPDATE jobs SET name = 'egret'\")")
    with open_workspace(shop) as workspace:
        assert [job.name for job in workspace.desk.jobs()] == ["egret"]
    assert names_in(shop / "workspace-before-0099.sqlite") == ["heron"]


@pytest.mark.parametrize("commit", ["", "op.get_bind().exec_driver_sql('COMMIT')"])
def test_a_step_that_fails_in_the_middle_leaves_the_database_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, commit: str
) -> None:
    """Even where half of it is written for good already, the copy is put back."""
    shop = a_workspace(tmp_path / "shop", "heron", "otter")
    a_step(
        tmp_path / "steps", monkeypatch,
        f'op.execute("DELETE FROM jobs"); {commit or "pass"}; op.execute("nonsense")',
    )  # fmt: skip
    with pytest.raises(MigrationFailed) as refusal:
        open_workspace(shop)
    assert "workspace-before-0099.sqlite" in refusal.value.limit
    assert 'near "nonsense"' in refusal.value.found
    assert names_in(shop / DATABASE) == ["heron", "otter"]
    assert names_in(shop / "workspace-before-0099.sqlite") == ["heron", "otter"]
    monkeypatch.undo()
    with open_workspace(shop) as workspace:
        assert len(workspace.desk.jobs()) == 2


def test_a_step_that_leaves_rows_without_their_job_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = a_workspace(tmp_path / "shop", "heron")
    body = "op.execute(\"INSERT INTO done VALUES ('gone', 'cast', '2026-01-01', '{}', '')\")"
    a_step(tmp_path / "steps", monkeypatch, body)
    with pytest.raises(MigrationFailed, match="1 rows of done belong to nothing"):
        open_workspace(shop)
    assert names_in(shop / DATABASE) == ["heron"]


def test_a_new_workspace_whose_first_step_fails_leaves_no_database(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    a_step(tmp_path / "steps", monkeypatch, 'raise RuntimeError("broken")')
    with pytest.raises(MigrationFailed, match=r"\(broken\); nothing was made"):
        open_workspace(tmp_path / "shop")
    assert state_of(tmp_path / "shop") == {}


def test_a_newer_workspace_is_refused_and_not_touched(tmp_path: Path) -> None:
    shop = a_workspace(tmp_path / "shop", "heron")
    with sqlite3.connect(shop / DATABASE) as held:
        held.execute("UPDATE alembic_version SET version_num = '0420'")
    held.close()
    before = state_of(shop)
    with pytest.raises(WorkspaceTooNew) as refusal:
        open_workspace(shop)
    assert "0420" in refusal.value.found and "0001" in refusal.value.limit
    assert state_of(shop) == before


# damage


def test_what_is_no_database_is_refused_and_not_touched(tmp_path: Path) -> None:
    (tmp_path / DATABASE).write_bytes(b"solid heron\n" * 1000)
    before = state_of(tmp_path)
    with pytest.raises(WorkspaceDamaged, match="is no database; nothing was touched"):
        open_workspace(tmp_path)
    assert state_of(tmp_path) == before


def test_another_programs_database_is_refused_and_not_touched(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / DATABASE) as held:
        held.execute("CREATE TABLE birds (name TEXT)")
    held.close()
    before = state_of(tmp_path)
    with pytest.raises(BadWorkspace, match="is not of this program"):
        open_workspace(tmp_path)
    assert state_of(tmp_path) == before


def test_a_damaged_database_names_the_copy_that_takes_its_place(tmp_path: Path) -> None:
    shop = a_workspace(tmp_path / "shop", *(f"job {n}" for n in range(12)))
    a_workspace(shop)  # the copy made at this start holds all jobs
    sound = (shop / DATABASE).read_bytes()
    (shop / DATABASE).write_bytes(sound[:8192] + b"\xa5" * 12288 + sound[20480:])
    with pytest.raises(WorkspaceDamaged) as refusal:
        open_workspace(shop)
    assert LAST_START in refusal.value.remedy
    shutil.copy(shop / LAST_START, shop / DATABASE)  # as the refusal says
    with open_workspace(shop) as workspace:
        assert len(workspace.desk.jobs()) == 12


def test_a_database_that_was_cut_off_is_refused(tmp_path: Path) -> None:
    shop = a_workspace(tmp_path / "shop", *(f"job {n}" for n in range(12)))
    whole = (shop / DATABASE).read_bytes()
    (shop / DATABASE).write_bytes(whole[: len(whole) // 2])
    with pytest.raises(WorkspaceDamaged, match="is damaged"):
        open_workspace(shop)


# no room


def test_a_full_disc_is_told_and_nothing_of_the_change_is_kept(tmp_path: Path) -> None:
    with open_workspace(tmp_path) as workspace:
        desk = workspace.desk
        job = desk.add_job("heron", now=NOW)
        with desk._database.engine.connect() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
        # the pool hands out one connection while nothing else is open
        with desk._database.engine.connect() as connection:
            connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(DiscFull) as refusal:
            desk.save_sheet(job.id, version=1, text="# long\n" * 20_000, now=NOW)
        assert refusal.value.code == "disc_full" and str(tmp_path) in refusal.value.where
        assert desk.job(job.id) == job
        assert desk.change_job(job.id, name="egret", now=NOW).name == "egret"


def test_no_room_for_the_copy_stops_before_anything_is_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = a_workspace(tmp_path / "shop", "heron")
    a_step(tmp_path / "steps", monkeypatch, 'op.execute("DELETE FROM jobs")')

    real = sqlite3.connect

    def cramped(where: Any, *args: Any, **options: Any) -> sqlite3.Connection:
        connection = real(where, *args, **options)
        if str(where).endswith(".part"):
            connection.execute("PRAGMA max_page_count = 1")
        return connection

    before = state_of(shop)
    monkeypatch.setattr(migrate.sqlite3, "connect", cramped)
    with pytest.raises(DiscFull):
        open_workspace(shop)
    monkeypatch.undo()
    assert state_of(shop) == before


def test_a_database_held_by_another_program_is_told(tmp_path: Path) -> None:
    with open_workspace(tmp_path) as workspace:
        with workspace.desk._database.engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA busy_timeout = 10")
        other = sqlite3.connect(tmp_path / DATABASE, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(WorkspaceNotWritten, match="is held by another program"):
            workspace.desk.add_job("heron", now=NOW)
        other.execute("ROLLBACK")
        assert workspace.desk.add_job("heron", now=NOW).name == "heron"
        other.close()


def test_refusals_of_a_workspace_have_codes_of_their_own() -> None:
    kinds = (
        BadWorkspace, WorkspaceInUse, WorkspaceTooNew, WorkspaceDamaged, MigrationFailed,
        WorkspaceNotWritten, DiscFull,
    )  # fmt: skip
    assert len({kind.code for kind in kinds}) == len(kinds)
    assert all(issubclass(kind, WorkshopError) for kind in kinds)


def test_opening_a_workspace_loads_no_geometry() -> None:
    source = (
        "import sys, firstpull.store.workspace.workspace\n"
        "print([m for m in ('numpy', 'scipy', 'numba', 'trimesh') if m in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", source], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


def test_times_keep_their_moment_whatever_zone_they_came_in(tmp_path: Path) -> None:
    east = datetime.timezone(datetime.timedelta(hours=9))
    with open_workspace(tmp_path) as workspace:
        job = workspace.desk.add_job("heron", now=NOW.astimezone(east))
        assert workspace.desk.job(job.id).made_at == NOW
        with pytest.raises(Exception, match="without a zone"):
            workspace.desk.add_job("egret", now=NOW.replace(tzinfo=None))
