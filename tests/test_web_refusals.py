"""Every refusal comes in one shape, with a status that fits."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from fastapi import Body, FastAPI
from starlette.testclient import TestClient

from firstpull.core.errors import WorkshopError
from firstpull.core.job.refusals import ChangedMeanwhile, DiscFull, NoSuchThing
from firstpull.services.worker import WorkerBug, WorkerLost
from firstpull.web.receive import MOST_BODY_BYTES, SmallBodies
from firstpull.web.refusals import install_refusals
from web_office import EmptyDesk, client_of, office_over

FIELDS = {"code", "where", "found", "limit", "remedy", "sentence"}


class Hyphened(WorkshopError):
    code = "bad-folder"


def client_that(fails: Exception) -> TestClient:
    """An app with a route that fails, and one that takes a body."""
    app = FastAPI(openapi_url=None)
    install_refusals(app)
    app.add_middleware(SmallBodies)

    def fail() -> None:
        raise fails

    def take(count: int = Body(embed=True), ratio: float = Body(embed=True)) -> int:
        return count

    app.add_api_route("/fail", fail)
    app.add_api_route("/take", take, methods=["POST"])
    return TestClient(app)


def client() -> TestClient:
    return client_that(NoSuchThing(where="It", found="is not there"))


def told(answer: Any) -> tuple[int, str]:
    """Status and code of an answer that has the one shape."""
    body = answer.json()
    assert set(body) - {"theirs"} == FIELDS
    assert all(isinstance(body[name], str) for name in FIELDS)
    assert body["where"] in body["sentence"] and body["found"] in body["sentence"]
    assert answer.headers["content-type"] == "application/json"
    return answer.status_code, body["code"]


@pytest.mark.parametrize(
    ("kind", "status", "code"),
    [
        (NoSuchThing, 404, "no_such_thing"),
        (ChangedMeanwhile, 409, "changed_meanwhile"),
        (DiscFull, 507, "disc_full"),
        (WorkerLost, 503, "worker_lost"),
        (Hyphened, 422, "bad_folder"),
        (WorkshopError, 422, "refused"),
    ],
)
def test_a_refusal_has_a_status_that_fits(
    kind: type[WorkshopError], status: int, code: str
) -> None:
    error = kind(where="Sheet", found="is old", limit="a newer one stands", remedy="Look at it.")
    assert told(client_that(error).get("/fail")) == (status, code)


def test_a_change_that_came_too_late_hears_how_it_stands_now() -> None:
    error = ChangedMeanwhile(where="Job", found="was changed meanwhile")
    error.theirs = {"version": 4}  # type: ignore[attr-defined]
    answer = client_that(error).get("/fail")
    assert told(answer) == (409, "changed_meanwhile")
    assert answer.json()["theirs"] == {"version": 4}


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b'{"count": "three", "ratio": 1}', '"count" in the body is not taken'),
        (b'{"ratio": 1}', '"count" in the body is missing'),
        (b"{", "is not JSON"),
        (b"", '"count" in the body is missing'),
        (b"[]", "in the body is missing"),
        (b'{"count": "x", "ratio": "y"}', "1 more like it"),
    ],
)
def test_a_bad_field_is_named(body: bytes, words: str) -> None:
    answer = client().post("/take", content=body, headers={"content-type": "application/json"})
    assert told(answer) == (422, "bad_request")
    assert words in answer.json()["sentence"]


def test_a_wrong_method_names_the_right_one() -> None:
    answer = client().get("/take")
    assert told(answer) == (405, "wrong_method")
    assert answer.headers["allow"] == "POST" and "it takes POST" in answer.json()["sentence"]


def test_an_address_that_leads_nowhere(tmp_path: Path) -> None:
    answer = client_of(office_over(EmptyDesk(tmp_path))).get("/api/nowhere")
    assert told(answer) == (404, "no_such_page")
    assert "/api/nowhere" in answer.json()["sentence"]


def test_a_page_of_text_is_held_to_a_few_megabytes() -> None:
    body = b'{"count": 1, "x": "' + b"a" * MOST_BODY_BYTES + b'"}'
    headers = {"content-type": "application/json"}
    assert told(client().post("/take", content=body, headers=headers)) == (413, "body_too_large")


@pytest.mark.parametrize("fault", [ZeroDivisionError("secret"), WorkerBug("secret", "trace of it")])
def test_a_fault_is_told_without_its_trace(
    fault: Exception, capfd: pytest.CaptureFixture[str]
) -> None:
    """The trace goes to the server's own stderr, once."""
    answer = client_that(fault).get("/fail")
    assert told(answer) == (500, "program_fault")
    assert "secret" not in answer.text and "Traceback" not in answer.text
    printed = capfd.readouterr().err
    expected = "trace of it" if isinstance(fault, WorkerBug) else "ZeroDivisionError: secret"
    assert printed.count(expected) == 1
