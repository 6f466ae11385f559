"""Figures of materials over HTTP, and what this shop found itself."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from firstpull.core.material.row import material_rows
from firstpull.store.workspace.workspace import open_workspace
from web_office import NOON, client_of, office_over

PATH = "/api/materials/silicone-tin-30a/pot_life"
FOUND = {"low": 25, "typical": 30, "high": 38, "note": "twelve cups timed"}


@pytest.fixture
def heard() -> list[tuple[str, dict[str, Any]]]:
    """What open pages are told."""
    return []


@pytest.fixture
def client(tmp_path: Path, heard: list[Any]) -> Iterator[TestClient]:
    with open_workspace(tmp_path) as workspace:
        office = office_over(workspace.desk, publish=lambda *told: heard.append(told))
        yield client_of(office)


def pot_life(client: TestClient) -> dict[str, Any]:
    listed = client.get("/api/materials").json()["materials"]
    row = next(row for row in listed if row["id"] == "silicone-tin-30a")
    return next(figure for figure in row["figures"] if figure["figure"] == "pot_life")


def test_every_row_is_listed_with_where_its_figures_come_from(client: TestClient) -> None:
    listed = client.get("/api/materials").json()["materials"]
    assert [row["id"] for row in listed] == list(material_rows())
    for row in listed:
        for told in row["figures"]:
            figure = material_rows()[row["id"]][told["figure"]]
            expected = (figure.low, figure.typical, figure.high, figure.mark, figure.source)
            assert tuple(told[n] for n in ("low", "typical", "high", "mark", "source")) == expected
            assert told["own"] is None


def test_an_own_figure_stands_beside_the_rows_until_it_is_dropped(
    client: TestClient, heard: list[Any]
) -> None:
    before = pot_life(client)
    answer = client.put(PATH, json=FOUND)
    assert answer.status_code == 200, answer.text
    own = pot_life(client)["own"]
    assert own == {**FOUND, "changed_at": NOON.isoformat().replace("+00:00", "Z")}
    assert {**pot_life(client), "own": None} == before
    assert client.delete(PATH).status_code == 200
    assert pot_life(client) == before
    assert heard == [("figures", {})] * 2


@pytest.mark.parametrize(
    ("path", "change", "status", "code"),
    [
        (PATH, {"low": 31}, 422, "bad_own_figure"),
        (PATH, {"typical": 30000, "high": 40000}, 422, "bad_own_figure"),
        (PATH, {"note": " "}, 422, "bad_own_figure"),
        (PATH, {"low": "Infinity"}, 422, "bad_request"),
        (PATH, {"surprise": 1}, 422, "bad_request"),
        (PATH.replace("pot_life", "colour"), {}, 422, "bad_own_figure"),
        (PATH.replace("30a", "99z"), {}, 404, "no_such_thing"),
    ],
)
def test_a_figure_that_cannot_be_is_refused_and_nothing_kept(
    client: TestClient, heard: list[Any], path: str, change: Any, status: int, code: str
) -> None:
    answer = client.put(path, json={**FOUND, **change})
    assert (answer.status_code, answer.json()["code"]) == (status, code), answer.text
    assert pot_life(client)["own"] is None and heard == []
