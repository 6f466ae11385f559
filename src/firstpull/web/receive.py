"""How does a file come in? In pieces, to a temporary file in the workspace, or not at all."""

from __future__ import annotations

import contextlib
import errno
import secrets
import shutil
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from firstpull.core.errors import WorkshopError
from firstpull.core.job.refusals import DiscFull
from firstpull.web.sniff import LOOK_BYTES, check_start, check_whole, format_of

INCOMING = "incoming"
"""Folder in the workspace where files lie until they are known to be whole."""

PIECE_BYTES = 1 << 20
MOST_BODY_BYTES = 4 << 20
"""Of a request that carries no file."""

LONGEST_NAME = 200


class UploadTooLarge(WorkshopError):
    """More bytes than are taken."""

    code = "upload_too_large"


class UploadEmpty(WorkshopError):
    """No bytes at all."""

    code = "mesh_file_empty"


class UploadBroken(WorkshopError):
    """The browser went away before the file was there."""

    code = "upload_broken"


@dataclass(frozen=True)
class Received:
    """A file that came in whole; whoever takes it moves it away.

    Args:
        path: where it lies for now, in the workspace.
        file_name: as it was called where it came from; shown, never used as a path.
        size_bytes: of the file.
    """

    path: Path
    file_name: str
    size_bytes: int


@dataclass
class _Arriving:
    """A file on its way in."""

    file_name: str
    path: Path
    limit_bytes: int
    spare_bytes: int
    file: BinaryIO | None = None
    start: bytes = b""
    size_bytes: int = 0
    pending: list[bytes] = field(default_factory=list)
    pending_bytes: int = 0

    def open(self, announced_bytes: int | None) -> None:
        """Refuse what cannot be taken, then make the file."""
        if announced_bytes is not None and announced_bytes > self.limit_bytes:
            raise self.too_large(f"has {_megabytes(announced_bytes)}")
        self.path.parent.mkdir(parents=True, exist_ok=True)
        need_room(self.path.parent, announced_bytes or 0, spare_bytes=self.spare_bytes)
        self.file = self.path.open("xb")

    def write(self) -> None:
        """Write what has come in since the last time."""
        assert self.file is not None
        pieces, self.pending, self.pending_bytes = self.pending, [], 0
        self.file.writelines(pieces)

    def close(self) -> None:
        """All of it is on the disc."""
        assert self.file is not None
        self.write()
        self.file.close()

    def drop(self) -> None:
        """Leave nothing behind."""
        if self.file is not None:
            with contextlib.suppress(OSError):  # what could not be written goes all the same
                self.file.close()
        self.path.unlink(missing_ok=True)

    def too_large(self, found: str) -> UploadTooLarge:
        """The refusal; ``found`` is what is known of its size."""
        return UploadTooLarge(
            where=f'The file "{self.file_name}"',
            found=found,
            limit=f"at most {_megabytes(self.limit_bytes)} are taken",
            remedy="Reduce the number of triangles in the modelling program; nothing was kept.",
        )


async def receive_file(
    request: Request, *, file_name: str, folder: Path, limit_bytes: int, spare_bytes: int
) -> Received:
    """The body of a request as a file in the workspace.

    Args:
        request: its body is the file's bytes.
        file_name: what the file is called; a path in front is dropped.
        folder: the workspace.
        limit_bytes: a larger file is refused, before a byte of it where its size is announced.
        spare_bytes: must stay free on the disc.

    Raises:
        WrongFileType: by its name or first bytes.
        UploadTooLarge, UploadEmpty, UploadBroken: and nothing is left behind.
        DiscFull: before or during.
    """
    name = plain_name(file_name)
    format = format_of(name)
    path = folder / INCOMING / f"{secrets.token_hex(8)}.{format}"
    arriving = _Arriving(name, path, limit_bytes, spare_bytes)
    try:
        await _take_in(arriving, request)
    except BaseException as reason:
        arriving.drop()  # at once: where the work was called off, nothing more can be awaited
        refusal = _as_refusal(reason, arriving)
        if refusal is None:
            raise
        raise refusal from reason
    return Received(path, name, arriving.size_bytes)


async def _take_in(arriving: _Arriving, request: Request) -> None:
    await run_in_threadpool(arriving.open, _announced(request.headers))
    looked = False
    async for piece in _pieces(request):
        arriving.size_bytes += len(piece)
        if arriving.size_bytes > arriving.limit_bytes:
            raise arriving.too_large("goes on beyond the largest size")
        if not looked:
            arriving.start += piece[: LOOK_BYTES - len(arriving.start)]
            looked = len(arriving.start) >= LOOK_BYTES
            if looked:
                check_start(arriving.file_name, arriving.start)
        arriving.pending.append(piece)
        arriving.pending_bytes += len(piece)
        if arriving.pending_bytes >= PIECE_BYTES:
            await run_in_threadpool(arriving.write)
    if not arriving.size_bytes:
        raise UploadEmpty(
            where=f'The file "{arriving.file_name}"',
            found="is empty",
            remedy="Export it again; the disc may have been full the first time.",
        )
    if not looked:
        check_start(arriving.file_name, arriving.start)
    await run_in_threadpool(arriving.close)
    await run_in_threadpool(check_whole, arriving.file_name, arriving.path)


async def _pieces(request: Request) -> AsyncIterator[bytes]:
    async for piece in request.stream():
        if piece:
            yield piece


def _as_refusal(reason: BaseException, arriving: _Arriving) -> WorkshopError | None:
    if isinstance(reason, ClientDisconnect):
        return UploadBroken(
            where=f'The file "{arriving.file_name}"',
            found=f"broke off after {_megabytes(arriving.size_bytes)}",
            remedy="Nothing was kept; send it again.",
        )
    if isinstance(reason, OSError) and reason.errno in (errno.ENOSPC, errno.EDQUOT):
        return _no_room(arriving.path.parent, arriving.size_bytes)
    return None


def need_room(folder: Path, size_bytes: int, *, spare_bytes: int) -> None:
    """Refuses to begin what would not fit on the disc.

    Raises:
        DiscFull: less would stay free than ``spare_bytes``.
    """
    if shutil.disk_usage(folder).free < size_bytes + spare_bytes:
        raise _no_room(folder, size_bytes + spare_bytes)


def _no_room(folder: Path, needed_bytes: int) -> DiscFull:
    free_bytes = shutil.disk_usage(folder.parent).free
    return DiscFull(
        where=f"The disc that holds {folder.parent}",
        found=f"has no room for the file ({_megabytes(free_bytes)} free)",
        limit=f"it needs {_megabytes(needed_bytes)} or more",
        remedy="Make room and send it again; nothing was left behind.",
    )


def sweep_incoming(folder: Path) -> None:
    """Clear away what a server that was killed left half received or half made."""
    for left in (folder / INCOMING).glob("*"):
        left.unlink(missing_ok=True)
    for left in folder.glob(".demo-*"):
        shutil.rmtree(left, ignore_errors=True)


def plain_name(file_name: str) -> str:
    """The name to show for a file: no folders, no control characters, not too long.

    >>> plain_name("C:\\\\models\\\\heron\\n.stl"), plain_name("../../heron.stl")
    ('heron.stl', 'heron.stl')
    """
    last = file_name.replace("\\", "/").rsplit("/", 1)[-1]
    shown = "".join(letter for letter in last if letter.isprintable()).strip()
    stem, dot, suffix = shown.rpartition(".")
    return f"{stem[:LONGEST_NAME]}{dot}{suffix[:10]}" if dot else shown[:LONGEST_NAME]


def _announced(headers: Headers) -> int | None:
    text = headers.get("content-length", "")
    return int(text) if text.isascii() and text.isdigit() else None


def _megabytes(size_bytes: int) -> str:
    return f"{size_bytes / 1e6:,.1f} MB"


class SmallBodies:
    """Middleware: a request that brings no mesh is held to a few megabytes."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, counting what comes in."""
        if scope["type"] != "http" or _brings_mesh(scope):
            await self.app(scope, receive, send)
            return
        size_bytes = 0

        async def counted() -> Message:
            nonlocal size_bytes
            message = await receive()
            size_bytes += len(message.get("body", b""))
            if size_bytes > MOST_BODY_BYTES:
                raise HTTPException(413)
            return message

        await self.app(scope, counted, send)


def _brings_mesh(scope: Scope) -> bool:
    path: str = scope["path"].rstrip("/")
    brings = path == "/api/jobs" or path.endswith("/revisions")
    return brings and scope["method"] == "POST"
