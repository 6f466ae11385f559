"""Opening a workspace: its folder, its lock, its database, and the desk in it."""

from __future__ import annotations

import types
from pathlib import Path

from firstpull.store.workspace.database import Database
from firstpull.store.workspace.desk import WorkspaceDesk
from firstpull.store.workspace.lock import FolderLock
from firstpull.store.workspace.migrate import bring_up_to_date, keep_last_start
from firstpull.store.workspace.refusals import BadWorkspace, told


class Workspace:
    """An open workspace; ``with`` closes it.

    Args:
        folder: where it is.
        desk: where its jobs are kept.
    """

    def __init__(self, folder: Path, desk: WorkspaceDesk, lock: FolderLock) -> None:
        self.folder, self.desk = folder, desk
        self._lock = lock

    def close(self) -> None:
        """Let others open it; twice does no harm."""
        self.desk.close()
        self._lock.let_go()

    def __enter__(self) -> Workspace:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: types.TracebackType | None,
    ) -> None:
        self.close()


def open_workspace(folder: Path | str, *, address: str = "") -> Workspace:
    """Opens a workspace, made where there is none, its database brought to this version.

    Args:
        folder: made with its parents where it is missing.
        address: where this process serves it, told to whoever comes next; empty where it
            does not.

    Raises:
        WorkspaceInUse: another process has it open.
        WorkspaceTooNew, WorkspaceDamaged, BadWorkspace: nothing was touched.
        MigrationFailed: the database is as it was.
        DiscFull: there is no room.
    """
    place = _made(Path(folder).expanduser())
    lock = FolderLock(place, address=address)
    try:
        bring_up_to_date(place)
        keep_last_start(place)
        with told(place):
            return Workspace(place, WorkspaceDesk(Database(place)), lock)
    except BaseException:
        lock.let_go()
        raise


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        reason = (fault.strerror or "no reason").lower()
        raise BadWorkspace(
            where=f"The folder {folder}",
            found=f"cannot be a workspace ({reason})",
            remedy="Give a folder of your own with --workspace.",
        ) from fault
    return folder.resolve()
