"""An app over fakes: what the tests of the web layer stand on."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from firstpull.web.app import create_app
from firstpull.web.events import EventHub
from firstpull.web.guard import Door
from firstpull.wiring import Office

PORT = 8321
HERE = f"http://127.0.0.1:{PORT}"
NOON = datetime.datetime(2031, 5, 4, 12, 0, tzinfo=datetime.UTC)


class EmptyDesk:
    """A desk with a folder and nothing in it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder


def office_over(desk: Any, **others: Any) -> Office:
    nobody = dict.fromkeys(("runner", "standby", "take_away", "headform"))
    told = {"publish": lambda event, data: None}
    return Office(**{"desk": desk, **nobody, **told, "clock": lambda: NOON, **others})


def client_of(
    office: Office,
    *,
    door: Door | None = None,
    static: Path = Path("/nonexistent"),
    sender: str = "127.0.0.1",
    host: str = f"127.0.0.1:{PORT}",
) -> TestClient:
    app = create_app(office, EventHub(), door or Door(PORT), static=static)
    return TestClient(
        app, base_url=f"http://{host}", client=(sender, 50000), follow_redirects=False
    )
