"""The pages around a job in a real browser: empty, refusing, in both lights, for every reader."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from browser import drop_file, hindrances, needs_browser, served, smallest_print, visiting

pytestmark = needs_browser

SIZES = [(1280, 800), (820, 1180)]


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with served(tmp_path_factory.mktemp("workspace")) as address:
        yield address


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_pages_stand_open_to_every_reader(
    address: str, width: int, height: int, dark: bool
) -> None:
    """No serious hindrance, nothing wider than the screen, no small print, in either light."""
    with visiting(width=width, height=height, dark=dark) as page:
        for path, title in (("/", "Jobs"), ("/materials", "Materials"), ("/away", "Put away")):
            page.goto(address + path)
            page.get_by_role("heading", name=title, level=1).wait_for()
            page.wait_for_load_state("networkidle")
            assert hindrances(page) == [], path
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            assert smallest_print(page) >= 16, path


def test_what_is_no_mesh_is_refused_where_it_was_dropped(address: str, tmp_path: Path) -> None:
    """The sentence names the file and the next move; no job is made of it."""
    picture = tmp_path / "holiday.stl"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(500))
    with visiting() as page:
        page.goto(address)
        page.get_by_role("heading", name="Jobs", level=1).wait_for()
        drop_file(page, picture)
        told = page.get_by_role("alert").filter(has_text="holiday.stl")
        told.wait_for()
        assert re.search("picture|PNG", told.inner_text())
        assert page.request.get(f"{address}/api/jobs").json()["jobs"] == []


def test_any_number_of_tabs_are_open_and_stay_in_step(address: str) -> None:
    """A browser opens six ways to one server; more tabs than that load and hear of changes, also
    after the tab that listened for all of them is closed."""
    with visiting() as page:
        page.goto(address)
        tabs = [page, *(page.context.new_page() for _ in range(8))]
        for tab in tabs:
            tab.set_default_timeout(15_000)
            tab.goto(f"{address}/materials#silicone-tin-25a")
            tab.get_by_role("heading", name="Materials", level=1).wait_for()
        url = f"{address}/api/materials/silicone-tin-25a/density"
        for note in ("weighed by the tin", "weighed by the cup"):
            figure = {"low": 1.1, "typical": 1.15, "high": 1.2, "note": note}
            assert tabs[-1].request.put(url, data=figure).ok
            for tab in tabs:
                tab.get_by_text(note).wait_for()
            tabs.pop(0).close()
            time.sleep(0.5)
        assert tabs[-1].request.delete(url).ok


def test_an_own_figure_is_set_with_a_note_and_put_back(address: str) -> None:
    """Without a note it is refused, what was typed stays; with one it stands out in each tab."""
    with visiting() as page:
        beside = page.context.new_page()
        beside.goto(f"{address}/materials#silicone-tin-30a")
        beside.get_by_role("heading", name="Materials", level=1).wait_for()
        page.goto(f"{address}/materials#silicone-tin-30a.density")
        leaf = page.get_by_role("dialog")
        typed = leaf.get_by_label(re.compile("^usual", re.IGNORECASE))
        typed.fill("1.16")
        leaf.get_by_label("Where it comes from").fill(" ")
        leaf.get_by_role("button", name="Use this figure").click()
        leaf.get_by_role("alert").wait_for()
        assert typed.input_value() == "1.16"
        leaf.get_by_label("Where it comes from").fill("weighed our own, three cups")
        leaf.get_by_role("button", name="Use this figure").click()
        leaf.wait_for(state="detached")
        page.get_by_text("weighed our own, three cups").wait_for()
        beside.get_by_text("weighed our own, three cups").wait_for()
        own = page.request.get(f"{address}/api/materials").json()["materials"]
        row = next(m for m in own if m["id"] == "silicone-tin-30a")
        figure = next(f for f in row["figures"] if f["figure"] == "density")
        assert figure["own"]["typical"] == 1.16
