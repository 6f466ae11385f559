"""How does a file go out? Only from inside its folder, under its name, as what it is."""

from __future__ import annotations

from pathlib import Path

from starlette.responses import FileResponse

from firstpull.core.job.refusals import NoSuchThing

MEDIA_TYPES = {
    ".stl": "model/stl",
    ".3mf": "model/3mf",
    ".glb": "model/gltf-binary",
    ".obj": "model/obj",
    ".dxf": "image/vnd.dxf",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".webp": "image/webp",
    ".pdf": "application/pdf",
    ".json": "application/json",
    ".yaml": "text/yaml; charset=utf-8",
    ".txt": "text/plain; charset=utf-8",
    ".md": "text/markdown; charset=utf-8",
    ".csv": "text/csv; charset=utf-8",
    ".zip": "application/zip",
    ".box": "application/octet-stream",
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".map": "application/json",
    ".ico": "image/x-icon",
    ".woff2": "font/woff2",
    ".wasm": "application/wasm",
    ".webmanifest": "application/manifest+json",
}
SHOWN = {".png", ".webp", ".pdf", ".svg", ".json", ".txt", ".yaml", ".box"}
"""Shown by the browser where it is asked for them; all else is saved."""


def media_type(name: str) -> str:
    """What a file of this name is, for a browser.

    >>> media_type("mould/body.STL"), media_type("odd")
    ('model/stl', 'application/octet-stream')
    """
    return MEDIA_TYPES.get(Path(name).suffix.lower(), "application/octet-stream")


def file_in(folder: Path, name: str) -> Path | None:
    """The file of that name in a folder; None where there is none, or none that may be sent.

    Args:
        folder: nothing outside it is ever found.
        name: relative, with "/" between folders. ``..``, hidden files and symbolic links, in
            whatever part of the way, lead nowhere.
    """
    parts = name.split("/")
    if not all(parts) or any(p.startswith(".") or _is_odd(p) for p in parts):
        return None
    path = folder
    for part in parts:
        path = path / part
        if path.is_symlink():
            return None
    return path if path.is_file() else None


def _is_odd(part: str) -> bool:
    return "\\" in part or ":" in part or "\x00" in part


def send_file(
    folder: Path, name: str, *, called: str | None = None, of: str = "this plan"
) -> FileResponse:
    """A file of a folder, to look at or to save.

    Args:
        folder, name: as :func:`file_in`.
        called: its name once saved; its own where left out.
        of: whose file it is, for the refusal.

    Raises:
        NoSuchThing: there is none.
    """
    path = file_in(folder, name)
    if path is None:
        raise NoSuchThing(
            where=f'The file "{name[:120]}"',
            found=f"is not one of {of}",
            remedy="Look at the list of its files; an older plan's may have been cleared away.",
        )
    return FileResponse(
        path,
        media_type=media_type(path.name),
        filename=called or path.name,
        content_disposition_type="inline" if path.suffix.lower() in SHOWN else "attachment",
        headers={"cache-control": "private, no-cache"},
    )
