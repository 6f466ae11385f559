"""The open database: how connections are set up, and one short transaction a call."""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.orm import Session

from firstpull.store.workspace.refusals import DATABASE, told

BUSY_MS = 5_000
MOST_CONNECTIONS = 64  # more than a web server's threads, so that none waits for one
PRAGMAS = (
    "journal_mode=WAL",
    "synchronous=NORMAL",
    "foreign_keys=ON",
    f"busy_timeout={BUSY_MS}",
)


class Database:
    """Reads and writes of one workspace; safe to be shared by threads.

    Args:
        folder: of the workspace; its database is up to date.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.engine = _engine(folder / DATABASE)
        self._writing = self.engine.execution_options(begin="BEGIN IMMEDIATE")
        self._turns = itertools.count(1)
        self.turn = 0  # another number after each write; nobody else writes to an open workspace

    @contextlib.contextmanager
    def reading(self) -> Iterator[Session]:
        """A view of the database at one moment."""
        with told(self.folder), Session(self.engine) as session:
            yield session

    @contextlib.contextmanager
    def writing(self) -> Iterator[Session]:
        """One transaction: whole where the block ends well, nothing of it where it does not.

        It waits for its turn at the start, so that what it reads is what it changes.
        """
        try:
            with told(self.folder), Session(self._writing) as session, session.begin():
                yield session
        finally:
            self.turn = next(self._turns)

    def close(self) -> None:
        """Ends all connections; the log is folded into the database."""
        self.engine.dispose()


def _engine(database: Path) -> Engine:
    engine = create_engine(
        f"sqlite:///{database}",
        pool_size=4,
        max_overflow=MOST_CONNECTIONS - 4,
        connect_args={"check_same_thread": False, "timeout": BUSY_MS / 1000},
    )
    event.listen(engine, "connect", _set_up)
    event.listen(engine, "begin", _begin)
    return engine


def _set_up(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # the driver begins nothing by itself
    cursor = connection.cursor()
    for pragma in PRAGMAS:
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin(connection: Connection) -> None:
    connection.exec_driver_sql(connection.get_execution_options().get("begin", "BEGIN"))
