"""Who has a workspace open? One process at a time; its lock goes with it, however it ends."""

from __future__ import annotations

import errno
import json
import os
import sys
from pathlib import Path
from typing import IO

from firstpull.store.workspace.refusals import BadWorkspace, WorkspaceInUse

NAME = "workspace.lock"
FAR = 1 << 30  # where Windows locks a byte, so that what is written before it can be read
_HELD = (errno.EAGAIN, errno.EACCES, errno.EDEADLK)


class FolderLock:
    """Holds a folder until it is let go or the process ends.

    Args:
        folder: it exists.
        address: where this process serves the workspace; empty where it does not.

    Raises:
        WorkspaceInUse: another process holds it; says which, and where it serves it.
        BadWorkspace: the folder does not let itself be locked.
    """

    def __init__(self, folder: Path, *, address: str = "") -> None:
        self.path = folder / NAME
        try:
            self._file: IO[bytes] = self.path.open("a+b")
        except OSError as fault:
            raise _no_lock(folder, fault) from fault
        try:
            _take(self._file)
        except OSError as fault:
            self._file.close()
            if fault.errno in _HELD:
                raise _in_use(folder, self.path) from None
            raise _no_lock(folder, fault) from fault
        self._tell(json.dumps({"pid": os.getpid(), "address": address}).encode())

    def let_go(self) -> None:
        """Others may have it; twice does no harm."""
        if not self._file.closed:
            self._tell(b"")
            self._file.close()

    def _tell(self, text: bytes) -> None:
        self._file.seek(0)
        self._file.truncate()
        self._file.write(text)
        self._file.flush()


def _take(file: IO[bytes]) -> None:
    if sys.platform == "win32":
        import msvcrt

        file.seek(FAR)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _in_use(folder: Path, path: Path) -> WorkspaceInUse:
    try:
        holder = json.loads(path.read_text("utf-8"))
        pid, address = int(holder["pid"]), str(holder["address"])
    except (OSError, ValueError, KeyError, TypeError):
        pid, address = 0, ""
    who = f"process {pid}" if pid else "another process"
    served = f", which serves it at {address}" if address else ""
    go_there = f"Open {address} in the browser, or close" if address else "Close"
    return WorkspaceInUse(
        where=f"The workspace {folder}",
        found=f"is open in {who}{served}",
        limit="one process at a time may have it open",
        remedy=f"{go_there} that process, or give another folder with --workspace.",
    )


def _no_lock(folder: Path, fault: OSError) -> BadWorkspace:
    return BadWorkspace(
        where=f"The folder {folder}",
        found=f"does not let itself be locked ({(fault.strerror or 'no reason').lower()})",
        limit="a workspace lies on a disc that may be written to",
        remedy="Allow it, or give another folder with --workspace.",
    )
