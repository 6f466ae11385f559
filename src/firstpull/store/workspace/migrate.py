"""Bringing a workspace's database to this version, with a copy made before and put back after
a failure."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path
from typing import Any

from alembic.config import Config
from alembic.runtime.environment import EnvironmentContext
from alembic.script import ScriptDirectory
from sqlalchemy import NullPool, create_engine

from firstpull.core.errors import WorkshopError
from firstpull.store.workspace.refusals import (
    DATABASE,
    LAST_START,
    BadWorkspace,
    MigrationFailed,
    WorkspaceTooNew,
    damaged,
    refusal_of,
    told,
)
from firstpull.store.workspace.tables import Base

HERE = Path(__file__).parent / "migrations"
VERSIONS: tuple[Path, ...] = (HERE / "versions",)
HEAD_BYTES = b"SQLite format 3\x00"


def bring_up_to_date(folder: Path) -> None:
    """Makes the database, or takes it to this version; one that is there already stays.

    A copy called workspace-before-<revision>.sqlite is made first and kept.

    Raises:
        WorkspaceTooNew: a newer version wrote it; nothing is touched.
        WorkspaceDamaged: it is damaged, or no database; nothing is touched.
        BadWorkspace: another program's database; nothing is touched.
        MigrationFailed: a step failed; the database is as it was.
        DiscFull: no room for the copy; nothing is touched.
    """
    database, script = folder / DATABASE, _script()
    head = str(script.get_current_head())
    revision = _revision_in(folder)
    known = {step.revision for step in script.walk_revisions()}
    if revision is not None and revision not in known:
        raise _too_new(folder, revision, head)
    if revision == head:
        return
    before = folder / f"workspace-before-{head}.sqlite"
    if revision is not None:
        copy_database(database, before)
    try:
        _upgrade(database, script)
    except Exception as fault:
        _put_back(database, before if revision is not None else None)
        raise _failed(folder, before if revision is not None else None, head, fault) from fault


def keep_last_start(folder: Path) -> None:
    """A copy of a sound database, to be put in place of one that is damaged later.

    Without room for it the work goes on without.
    """
    with contextlib.suppress(OSError, sqlite3.Error, WorkshopError):
        copy_database(folder / DATABASE, folder / LAST_START)


def copy_database(source: Path, target: Path) -> None:
    """A whole copy of a database, what is still in its log included.

    Raises:
        DiscFull: no room for it; nothing is left behind.
    """
    passing = target.with_name(f".{target.name}.part")
    passing.unlink(missing_ok=True)
    try:
        with (
            told(target.parent),
            contextlib.closing(sqlite3.connect(source)) as old,
            contextlib.closing(sqlite3.connect(passing)) as new,
        ):
            old.backup(new)
        passing.replace(target)
    finally:
        passing.unlink(missing_ok=True)


def _revision_in(folder: Path) -> str | None:
    """The revision of the database there; None where there is none yet.

    It is only read, so that a refusal leaves no trace.
    """
    database = folder / DATABASE
    with told(folder):
        if not database.exists() or database.stat().st_size == 0:
            return None
        with database.open("rb") as file:
            if file.read(len(HEAD_BYTES)) != HEAD_BYTES:
                raise damaged(folder, "is no database")
        with contextlib.closing(sqlite3.connect(_untouched(database), uri=True)) as held:
            faults = [row[0] for row in held.execute("PRAGMA quick_check(1)")]
            if faults != ["ok"]:
                raise damaged(folder, f"is damaged ({faults[0]})")
            tables = {row[0] for row in held.execute("SELECT name FROM sqlite_master")}
            if not tables:
                return None
            if "alembic_version" in tables:
                found = held.execute("SELECT version_num FROM alembic_version").fetchone()
                if found is not None:
                    return str(found[0])
    raise BadWorkspace(
        where=f"The database {database}",
        found="is not of this program",
        limit="nothing was touched",
        remedy="Give another folder with --workspace.",
    )


def _untouched(database: Path) -> str:
    """An address to read a database at without a trace; a log left by a crash is read too."""
    log = database.with_name(database.name + "-wal")
    has_log = log.exists() and log.stat().st_size > 0
    return f"{database.as_uri()}?mode=ro" + ("" if has_log else "&immutable=1")


def _script() -> ScriptDirectory:
    config = Config()
    config.set_main_option("script_location", _escaped(HERE))
    config.set_main_option("path_separator", "newline")
    config.set_main_option("version_locations", "\n".join(map(_escaped, VERSIONS)))
    return ScriptDirectory.from_config(config)


def _escaped(path: Path) -> str:
    return str(path).replace("%", "%%")


def _upgrade(database: Path, script: ScriptDirectory) -> None:
    """All steps in one transaction, foreign keys looked at once at the end."""

    def steps(revision: Any, context: Any) -> Any:
        return script._upgrade_revs("head", revision)  # as Alembic's own guide has it

    engine = create_engine(
        "sqlite://", creator=lambda: sqlite3.connect(database, isolation_level=None),
        poolclass=NullPool,
    )  # fmt: skip
    with engine.connect() as connection, EnvironmentContext(Config(), script, fn=steps) as context:
        connection.exec_driver_sql("BEGIN IMMEDIATE")
        context.configure(
            connection=connection,
            target_metadata=Base.metadata,
            render_as_batch=True,
            transactional_ddl=True,
        )
        context.run_migrations()
        loose = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
        if loose:
            raise sqlite3.IntegrityError(f"{len(loose)} rows of {loose[0][0]} belong to nothing")
        connection.exec_driver_sql("COMMIT")
        connection.rollback()


def _put_back(database: Path, before: Path | None) -> None:
    """The database as it was, its log away; none where there was none."""
    for end in ("-wal", "-shm", "-journal"):
        database.with_name(database.name + end).unlink(missing_ok=True)
    if before is None:
        database.unlink(missing_ok=True)
    else:
        copy_database(before, database)


def _too_new(folder: Path, revision: str, head: str) -> WorkspaceTooNew:
    return WorkspaceTooNew(
        where=f"The workspace {folder}",
        found=f"was written by a newer version of the program (its tables are {revision})",
        limit=f"this version knows tables up to {head}; nothing was touched",
        remedy="Open it with the newer version, or give another folder with --workspace.",
    )


def _failed(folder: Path, before: Path | None, head: str, fault: Exception) -> WorkshopError:
    cause = getattr(fault, "orig", None) or fault
    if before is None and isinstance(cause, sqlite3.Error):
        plain = refusal_of(folder, cause)
        if plain is not None:
            return plain
    return MigrationFailed(
        where=f"The workspace {folder}",
        found=f"could not be brought to tables {head} ({cause})",
        limit=f"it was put back as it was, and {before} is a copy of it"
        if before
        else "nothing was made",
        remedy="Open it with the version that wrote it, or make room and start again.",
    )
