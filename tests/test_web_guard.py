"""Who may talk to the app."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from firstpull.web.guard import COOKIE, SECURITY_HEADERS, Door
from web_office import HERE, PORT, EmptyDesk, client_of, office_over

LAN = Door(PORT, names=("192.168.7.20", "bench.local"), key="three herons")


def client(folder: Path, **options: object) -> TestClient:
    return client_of(office_over(EmptyDesk(folder)), **options)  # type: ignore[arg-type]


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "LOCALHOST", "[::1]"])
def test_this_machines_own_names_are_answered(tmp_path: Path, host: str) -> None:
    answer = client(tmp_path).get("/api/about", headers={"host": f"{host}:{PORT}"})
    assert answer.status_code == 200, answer.text


@pytest.mark.parametrize(
    "host",
    ["rebound.example:8321", "127.0.0.1", "127.0.0.1:9000", "192.168.7.20:8321", "", "127.0.0.2"],
)
def test_a_name_that_is_not_ours_is_refused(tmp_path: Path, host: str) -> None:
    """A name that somebody else points at this machine does not make its pages ours."""
    answer = client(tmp_path).get("/api/about", headers={"host": host})
    assert (answer.status_code, answer.json()["code"]) == (403, "strange_host")


STRANGE = [
    {"origin": "https://elsewhere.example"},
    {"origin": "null"},
    {"origin": "http://127.0.0.1:9000"},
    {"origin": f"ftp://127.0.0.1:{PORT}"},
    {"origin": ""},
    {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"},
]


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
@pytest.mark.parametrize("headers", STRANGE)
def test_another_sites_page_changes_nothing(
    tmp_path: Path, method: str, headers: dict[str, str]
) -> None:
    answer = client(tmp_path).request(method, "/api/about", headers=headers)
    assert (answer.status_code, answer.json()["code"]) == (403, "strange_origin")


@pytest.mark.parametrize("headers", [{"origin": HERE, "sec-fetch-site": "same-origin"}, {}])
def test_our_own_page_and_scripts_come_through_to_the_router(
    tmp_path: Path, headers: dict[str, str]
) -> None:
    answer = client(tmp_path).post("/api/about", headers=headers)
    assert answer.json()["code"] == "wrong_method"


def test_without_a_key_only_this_machine_is_answered(tmp_path: Path) -> None:
    answer = client(tmp_path, sender="192.168.7.31").get("/api/about")
    assert (answer.status_code, answer.json()["code"]) == (403, "no_key")


@pytest.mark.parametrize("sender", ["127.0.0.1", "::1", "::ffff:127.0.0.1"])
def test_this_machine_needs_no_key(tmp_path: Path, sender: str) -> None:
    assert client(tmp_path, sender=sender, door=LAN).get("/api/about").status_code == 200


def away(folder: Path) -> TestClient:
    return client(folder, door=LAN, sender="192.168.7.31", host=f"192.168.7.20:{PORT}")


@pytest.mark.parametrize(
    ("path", "cookie"),
    [
        ("/api/about", ""),
        ("/api/about?key=", ""),
        ("/api/about?key=three+gulls", ""),
        ("/api/about?key=%ff%00", ""),
        ("/", ""),
        ("/api/about", "three gulls"),
        ("/api/about?key=three+gulls", "three herons"),
    ],
)
def test_another_machine_without_the_key_is_refused(tmp_path: Path, path: str, cookie: str) -> None:
    headers = {"cookie": f'{COOKIE}="{cookie}"'} if cookie else {}
    answer = away(tmp_path).get(path, headers=headers)
    assert (answer.status_code, answer.json()["code"]) == (403, "no_key")
    assert "set-cookie" not in answer.headers


def test_the_key_in_the_address_becomes_a_cookie_that_opens_the_app(tmp_path: Path) -> None:
    """The redirect drops the key, so that it stays out of the address line and the history."""
    machine = away(tmp_path)
    answer = machine.get("/jobs/a1?key=three+herons&room=mould")
    assert (answer.status_code, answer.headers["location"]) == (303, "/jobs/a1?room=mould")
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    assert machine.get("/api/about").status_code == 200


def test_the_redirect_never_leads_elsewhere(tmp_path: Path) -> None:
    answer = away(tmp_path).get(f"http://192.168.7.20:{PORT}//elsewhere.example/x?key=three+herons")
    assert answer.headers["location"].startswith("/elsewhere.example")


def test_the_key_does_not_help_a_strange_page(tmp_path: Path) -> None:
    machine = away(tmp_path)
    machine.get("/?key=three+herons")
    answer = machine.post("/api/about", headers={"origin": "https://elsewhere.example"})
    assert answer.json()["code"] == "strange_origin"


def test_the_key_is_not_shown_where_a_door_is_printed() -> None:
    assert "herons" not in repr(LAN)


@pytest.mark.parametrize("path", ["/api/about", "/", "/api/nowhere"])
def test_every_answer_is_fenced_in(tmp_path: Path, path: str) -> None:
    headers = client(tmp_path).get(path).headers
    assert {name: headers[name] for name in SECURITY_HEADERS} == SECURITY_HEADERS


def test_a_refusal_of_the_guard_is_fenced_in_too(tmp_path: Path) -> None:
    answer = client(tmp_path).get("/", headers={"host": "rebound.example"})
    assert answer.headers["content-security-policy"].startswith("default-src 'self'")
