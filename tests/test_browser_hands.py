"""The object on the bench follows mouse, fingers and keys: it turns, shifts and comes nearer."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
from PIL import Image

from browser import needs_browser, ready, served, until_planned, visiting
from firstpull.core.demo import heron_half_mask
from firstpull.files.write_mesh import write_mesh

pytestmark = [needs_browser, pytest.mark.long]

LIGHT = 200  # of 255: the part is darker than paper and board
SETTLED_MS = 900  # a turn that was begun comes to rest, and the still view is drawn finely

Act = Callable[[Any], None]


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of a job that is planned."""
    folder = tmp_path_factory.mktemp("hands")
    write_mesh(folder / "heron.stl", heron_half_mask(triangles=50_000), unit="mm")
    with served(folder / "workspace") as address:
        with visiting() as page:
            sent = (folder / "heron.stl").read_bytes()
            made = page.request.post(f"{address}/api/jobs?file=heron.stl", data=sent).json()["id"]
            until_planned(page, address, made)
        yield f"{address}/jobs/{made}/master"


@pytest.fixture
def bench(job: str) -> Iterator[Any]:
    """The bench of that job by itself, without the headform beside the part."""
    with visiting(touch=True) as page:
        page.goto(job)
        ready(page)
        page.get_by_role("button", name="Head", exact=True).click()
        page.wait_for_timeout(SETTLED_MS)
        yield page


class Seen:
    """What the canvas shows: how much of it is part, where the middle of that is, and all of it."""

    def __init__(self, page: Any) -> None:
        page.wait_for_timeout(SETTLED_MS)
        picture = Image.open(io.BytesIO(page.locator("canvas.bench-canvas").screenshot()))
        self.light = np.asarray(picture.convert("L"), dtype=float)
        rows, columns = np.nonzero(self.light < LIGHT)
        self.area = len(rows)
        self.middle = np.array([columns.mean(), rows.mean()])


def middle_of(page: Any) -> tuple[float, float]:
    box = page.locator("canvas.bench-canvas").bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def drag(page: Any, dx: float, dy: float, *, button: str = "left") -> None:
    x, y = middle_of(page)
    page.mouse.move(x, y)
    page.mouse.down(button=button)
    page.mouse.move(x + dx, y + dy, steps=6)
    page.mouse.up(button=button)


def fingers(page: Any, *ways: tuple[tuple[float, float], tuple[float, float]]) -> None:
    """Fingers set down together, moved, and lifted; from and to in pixels off the middle."""
    x, y = middle_of(page)
    touch = page.context.new_cdp_session(page)

    def at(share: float) -> list[dict[str, float]]:
        return [
            {"x": x + a + share * (c - a), "y": y + b + share * (d - b), "id": n}
            for n, ((a, b), (c, d)) in enumerate(ways)
        ]

    touch.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": at(0)})
    for step in range(1, 9):
        moved = {"type": "touchMove", "touchPoints": at(step / 8)}
        touch.send("Input.dispatchTouchEvent", moved)
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def press(page: Any, key: str, times: int) -> None:
    page.locator("canvas.bench-canvas").focus()
    for _ in range(times):
        page.keyboard.press(key)


def roll(page: Any, by: float) -> None:
    page.mouse.move(*middle_of(page))
    page.mouse.wheel(0, by)


@pytest.mark.parametrize(
    "turn",
    [
        pytest.param(lambda page: drag(page, 140, 0), id="mouse"),
        pytest.param(lambda page: fingers(page, ((0, 0), (140, 0))), id="finger"),
        pytest.param(lambda page: press(page, "ArrowLeft", 6), id="keys"),
    ],
)
def test_it_turns_where_it_stands(bench: Any, turn: Act) -> None:
    before = Seen(bench)
    turn(bench)
    after = Seen(bench)
    assert np.abs(after.light - before.light).mean() > 3
    assert 0.5 < after.area / before.area < 2
    assert np.linalg.norm(after.middle - before.middle) < 120  # the beak swings about it


@pytest.mark.parametrize(
    "shift",
    [
        pytest.param(lambda page: drag(page, 100, 40, button="right"), id="mouse"),
        pytest.param(
            lambda page: fingers(page, ((-60, 0), (40, 40)), ((60, 0), (160, 40))), id="two fingers"
        ),
    ],
)
def test_it_is_shifted_as_far_as_the_hand_went(bench: Any, shift: Act) -> None:
    before = Seen(bench)
    shift(bench)
    after = Seen(bench)
    assert after.middle - before.middle == pytest.approx([100, 40], abs=15)
    assert after.area / before.area == pytest.approx(1, abs=0.15)


@pytest.mark.parametrize(
    "nearer",
    [
        pytest.param(lambda page: roll(page, -240), id="wheel"),
        pytest.param(
            lambda page: fingers(page, ((-60, 0), (-90, 0)), ((60, 0), (90, 0))), id="pinch"
        ),
        pytest.param(lambda page: press(page, "+", 3), id="keys"),
    ],
)
def test_it_comes_nearer(bench: Any, nearer: Act) -> None:
    before = Seen(bench)
    nearer(bench)
    after = Seen(bench)
    assert 1.25 < after.area / before.area < 3.5


def test_a_tap_tells_what_was_touched(bench: Any) -> None:
    assert bench.locator(".reading").inner_text() == ""
    at = Seen(bench)
    rows, columns = np.nonzero(at.light < LIGHT)
    nearest = np.argmin((columns - at.middle[0]) ** 2 + (rows - at.middle[1]) ** 2)
    box = bench.locator("canvas.bench-canvas").bounding_box()
    bench.touchscreen.tap(box["x"] + float(columns[nearest]), box["y"] + float(rows[nearest]))
    bench.get_by_role("status").filter(has_text="Master").wait_for(timeout=5000)
