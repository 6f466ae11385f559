"""How does a refusal reach the browser? One JSON shape, and a status that fits its code."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Sequence
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from firstpull.core.errors import WorkshopError

STATUS = {
    "strange_host": 403,
    "strange_origin": 403,
    "no_key": 403,
    "no_such_thing": 404,
    "no_such_page": 404,
    "not_yet": 404,
    "wrong_method": 405,
    "changed_meanwhile": 409,
    "cancelled": 409,
    "body_too_large": 413,
    "upload_too_large": 413,
    "mesh_file_too_large": 413,
    "wrong_file_type": 415,
    "mesh_format_unknown": 415,
    "program_fault": 500,
    "worker_lost": 503,
    "standby_lost": 503,
    "standby_slow": 503,
    "disc_full": 507,
}
"""Status by code; a refusal without a line here is about what was sent, and gets 422."""

ABOUT_INPUT = 422


class NoSuchPage(WorkshopError):
    """No route of that address."""

    code = "no_such_page"


class WrongMethod(WorkshopError):
    """The address is right, what is asked of it is not."""

    code = "wrong_method"


class BodyTooLarge(WorkshopError):
    """More text than any field takes."""

    code = "body_too_large"


class BadRequest(WorkshopError):
    """A field of the request is missing, of the wrong kind or out of range."""

    code = "bad_request"


class ProgramFault(WorkshopError):
    """Nobody's input: something went wrong in the program."""

    code = "program_fault"


def status_of(code: str) -> int:
    """The HTTP status of a refusal.

    >>> status_of("no_such_thing"), status_of("disc-full"), status_of("bad_sheet")
    (404, 507, 422)
    """
    return STATUS.get(code.replace("-", "_"), ABOUT_INPUT)


def as_body(refusal: WorkshopError) -> dict[str, Any]:
    """The refusal as told to a browser; ``theirs`` where somebody else's change stands."""
    body: dict[str, Any] = {**refusal.as_json(), "code": refusal.code.replace("-", "_")}
    theirs = getattr(refusal, "theirs", None)
    return body if theirs is None else {**body, "theirs": theirs}


def answer(refusal: WorkshopError, *, headers: dict[str, str] | None = None) -> JSONResponse:
    """The refusal as a response."""
    return JSONResponse(as_body(refusal), status_code=status_of(refusal.code), headers=headers)


def fault_answer(fault: BaseException) -> ProgramFault:
    """What is said of a fault of the program; its trace goes to the server's own stderr."""
    trace = getattr(fault, "trace", None) or "".join(traceback.format_exception(fault))
    sys.stderr.write(trace.rstrip() + "\n")
    return ProgramFault(
        where="The program",
        found="has a fault of its own here",
        limit="it is not in your files, and what was kept stays as it was",
        remedy="Try again; if it stays so, report what the window that runs firstpull shows.",
    )


def install_refusals(app: FastAPI) -> None:
    """Every way a request can fail ends in the one JSON shape."""
    app.add_exception_handler(WorkshopError, _refused)
    app.add_exception_handler(RequestValidationError, _not_valid)
    app.add_exception_handler(HTTPException, _routing)
    app.add_middleware(Faults)


def _refused(request: Request, refusal: Exception) -> JSONResponse:
    assert isinstance(refusal, WorkshopError)
    return answer(refusal)


class Faults:
    """Middleware: a fault of the program is told in the one shape, its trace on stderr once."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on; answer for what fails before an answer has begun."""
        begun = False

        async def noted(message: Message) -> None:
            nonlocal begun
            begun = begun or message["type"] == "http.response.start"
            await send(message)

        try:
            await self.app(scope, receive, noted)
        except ClientDisconnect:
            return  # nobody is there any more to be told
        except Exception as fault:
            told = fault_answer(fault)
            if scope["type"] != "http" or begun:
                raise
            await answer(told)(scope, receive, send)


def _routing(request: Request, refused: Exception) -> JSONResponse:
    """What the router says: no such address, or not that method."""
    assert isinstance(refused, HTTPException)
    if refused.status_code == 405:
        allowed = (refused.headers or {}).get("Allow") or (refused.headers or {}).get("allow", "")
        wrong = WrongMethod(
            where=f"The address {request.url.path}",
            found=f"does not take {request.method}",
            limit=f"it takes {allowed}" if allowed else "",
            remedy="See /api/docs for what each address takes.",
        )
        return answer(wrong, headers={"allow": allowed} if allowed else None)
    if refused.status_code == 404:
        return answer(no_such_page(request.url.path))
    if refused.status_code == 413:
        return answer(
            BodyTooLarge(
                where="The body of the request",
                found="is larger than anything that is written there",
                remedy="Send a mesh to /api/jobs; everything else is a page of text.",
            )
        )
    return answer(
        BadRequest(
            where="The request",
            found=f"cannot be read ({refused.detail})",
            remedy="See /api/docs for what each address takes.",
        )
    )


def no_such_page(path: str) -> NoSuchPage:
    """There is nothing at this address."""
    return NoSuchPage(
        where=f"The address {path}",
        found="leads nowhere",
        remedy="Go back to the list of jobs; scripts find all addresses under /api/docs.",
    )


def _not_valid(request: Request, wrong: Exception) -> JSONResponse:
    assert isinstance(wrong, RequestValidationError)
    return answer(_first_of(wrong.errors()))


def _first_of(errors: Sequence[Any]) -> BadRequest:
    """The first thing that is wrong with a request, and how many more there are."""
    first = errors[0]
    place = ".".join(str(part) for part in first["loc"][1:])
    source = {"body": "the body", "query": "the address", "path": "the address"}.get(
        str(first["loc"][0]), "the request"
    )
    if first["type"] == "json_invalid":
        return BadRequest(
            where="The body of the request",
            found="is not JSON",
            remedy="Send one JSON object, with content-type application/json.",
        )
    more = f" ({len(errors) - 1} more like it)" if len(errors) > 1 else ""
    found = "is missing" if first["type"] == "missing" else f"is not taken: {first['msg']}"
    return BadRequest(
        where=f'"{place}" in {source}' if place else source[:1].upper() + source[1:],
        found=found + more,
        remedy="Correct it and send it again; /api/docs tells what each address takes.",
    )
