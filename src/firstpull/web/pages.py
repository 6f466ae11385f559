"""The built page: where it lies, how long a browser may keep it, what stands in for it."""

from __future__ import annotations

import re
from pathlib import Path

from fastapi import APIRouter, Request
from starlette.responses import FileResponse, HTMLResponse, Response

from firstpull.web.refusals import answer, no_such_page
from firstpull.web.sent_files import file_in, media_type

STATIC = Path(__file__).parent / "static"
INDEX = "index.html"
HASHED = re.compile(r"^assets/.+-[A-Za-z0-9_-]{8,}\.\w+$")
"""Names that the build makes from the content, so that they never mean anything else."""

FOR_EVER = "public, max-age=31536000, immutable"
ASK_AGAIN = "no-cache"

NOT_BUILT = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>firstpull</title>
<meta name="viewport" content="width=device-width, initial-scale=1"></head>
<body style="font: 1rem/1.5 sans-serif; max-width: 40rem; margin: 4rem auto; padding: 0 1rem">
<h1>The page has not been built yet</h1>
<p>The app itself runs: <a href="/api/docs">its interface for scripts</a> answers.</p>
<p>To build the page, run <code>./start</code> in the folder that firstpull came in, or install
the ready-made package, which has the page in it. Then reload this one.</p>
</body></html>
"""


def page_routes(static: Path = STATIC) -> APIRouter:
    """Every address that is not the interface's: a file of the page, or the page itself."""
    router = APIRouter(include_in_schema=False)

    def page(request: Request, path: str = "") -> Response:
        if path == "api" or path.startswith("api/"):
            return answer(no_such_page(request.url.path))
        if file_in(static, path) is not None:
            return _sent(static, path, request)
        if _names_a_file(path):
            return answer(no_such_page(request.url.path))
        if file_in(static, INDEX) is None:
            return HTMLResponse(NOT_BUILT, headers={"cache-control": "no-store"})
        return _sent(static, INDEX, request)

    router.add_api_route("/{path:path}", page, methods=["GET", "HEAD"])
    return router


def _names_a_file(path: str) -> bool:
    """Whether an address asks for a file by its name; the page's own addresses have no dot."""
    return path.startswith("assets/") or "." in path.rsplit("/", 1)[-1] or ".." in path


def _sent(static: Path, name: str, request: Request) -> Response:
    """The file, the copy that was packed beforehand where the browser takes it."""
    headers = {"cache-control": FOR_EVER if HASHED.match(name) else ASK_AGAIN}
    packed = file_in(static, f"{name}.gz")
    if packed is not None:
        headers["vary"] = "accept-encoding"
        if _takes_gzip(request.headers.get("accept-encoding", "")):
            headers["content-encoding"] = "gzip"
            return FileResponse(packed, media_type=media_type(name), headers=headers)
    return FileResponse(static / name, media_type=media_type(name), headers=headers)


def _takes_gzip(accepted: str) -> bool:
    """Whether a browser takes gzip.

    >>> _takes_gzip("br, gzip"), _takes_gzip("gzip;q=0"), _takes_gzip("")
    (True, False, False)
    """
    for word in accepted.lower().split(","):
        name, _, quality = word.strip().partition(";")
        if name.strip() in ("gzip", "*"):
            return quality.replace(" ", "") not in ("q=0", "q=0.0", "q=0.00", "q=0.000")
    return False
