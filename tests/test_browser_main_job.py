"""The main job as a new user walks it: from a faulty mesh to the packet, with eyes and hands."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from browser import (
    drop_file,
    hindrances,
    needs_browser,
    ready,
    served,
    smallest_print,
    until_planned,
    visiting,
)
from firstpull.services.write_demo import write_broken

pytestmark = [needs_browser, pytest.mark.long]


def test_a_new_user_gets_from_a_faulty_mesh_to_the_packet(tmp_path: Path) -> None:
    """Drop, see, mend, choose, ask why, change, reload in the middle, and hold the packet."""
    mesh = tmp_path / "heron from an old disc.stl"
    write_broken(mesh, triangles=50_000)
    with served(tmp_path / "workspace") as address, visiting() as page:
        page.goto(address)
        page.get_by_role("heading", name="Jobs", level=1).wait_for()
        drop_file(page, mesh)
        page.wait_for_url(re.compile(r"/jobs/\w+/master"))
        job = page.url.split("/")[-2]

        # the mesh stands there with what is wrong with it, while the plan is being worked out
        ready(page)
        page.get_by_role("heading", name="To be minded").wait_for()
        told = until_planned(page, address, job)
        page.get_by_text(re.compile("^Mended")).wait_for()
        assert any(f["mended"] for f in plan(page, address, told)["parts"][0]["master"]["findings"])
        page.get_by_role("button", name="Before and after").click()
        ready(page)
        page.get_by_role("button", name="Before and after").click()

        # three things are asked
        for asked in page.get_by_role("region", name="Three things").get_by_role("listitem").all():
            asked.get_by_role("button", name="That is right").click()
            asked.get_by_role("button", name="That is right").wait_for(state="detached")
        told = until_planned(page, address, job)
        page.get_by_text("Size confirmed").wait_for()
        assert told["confirmed"] == {"size": True, "up": True, "castings": True}

        # another number of pieces, chosen on the chart, is what stands on the bench
        way = page.get_by_role("navigation", name="The way of the work")
        way.get_by_role("link", name=re.compile("^Mould")).click()
        built = len(plan(page, address, told)["parts"][0]["moulds"][0]["shell"]["pieces"])
        options = plan(page, address, told)["parts"][0]["moulds"][0]["options"]
        other = next(o["pieces"] for o in options if o["pieces"] != built)
        page.locator("label", has_text=re.compile(rf"^{other} piece")).last.click()
        page.get_by_role("button", name=f"Make it in {other}").click()
        told = until_planned(page, address, job, since=told["plan_id"])
        ready(page)
        assert len(plan(page, address, told)["parts"][0]["moulds"][0]["shell"]["pieces"]) == other

        # a figure answers why
        skin = page.get_by_role("contentinfo").get_by_role(
            "button", name=re.compile("silicone in the skin")
        )
        before = silicone_g(plan(page, address, told))
        skin.click()
        why = page.get_by_role("dialog")
        why.get_by_text("How it is worked out").wait_for()
        assert "density" in why.inner_text()
        page.keyboard.press("Escape")
        why.wait_for(state="detached")

        # a thicker skin, with the page loaded anew in the middle of the work
        page.locator("[data-field='skin.thickness_mm']").click()
        field = page.get_by_label(re.compile("even layer over the body"))
        field.fill("40")
        page.keyboard.press("Enter")
        page.get_by_text(re.compile("it may be 3 to 15 mm")).wait_for()
        assert field.input_value() == "40"
        field.fill("8")
        page.keyboard.press("Enter")
        page.get_by_role("progressbar").wait_for()
        page.reload()
        page.get_by_role("heading", name="Mould", level=1).wait_for()
        told = until_planned(page, address, job, since=told["plan_id"])
        assert silicone_g(plan(page, address, told)) > 1.15 * before
        ready(page)

        # the packet, and all files
        packet = page.get_by_role("link", name="Packet").get_attribute("href")
        assert page.request.get(address + packet).body().startswith(b"%PDF-")
        page.get_by_role("button", name="Take away").click()
        with page.expect_download() as download:
            page.get_by_role("dialog").get_by_role("link", name=re.compile("zip")).first.click()
        assert Path(download.value.path()).read_bytes()[:2] == b"PK"
        page.keyboard.press("Escape")
        # every stage in either system: whole, within the screen, for every reader
        for system in ("mm g °C", "in oz °F"):
            for stage in ("Master", "Mould", "Cast"):
                way.get_by_role("link", name=re.compile(f"^{stage}")).click()
                page.get_by_role("heading", name=stage, level=1).wait_for()
                ready(page)
                page.get_by_role("contentinfo").get_by_role("button", name=LAST[stage]).wait_for()
                assert page.evaluate("document.documentElement.scrollHeight") <= 800, stage
                assert hindrances(page) == [], (stage, system)
                assert smallest_print(page) >= 16, stage
            page.get_by_text(system).click()


LAST = {
    "Master": re.compile("copied by the mould"),
    "Mould": re.compile("to make the mould"),
    "Cast": re.compile("for all of them"),
}
"""What stands last in the foot of each stage."""


def plan(page: Any, address: str, job: dict[str, Any]) -> dict[str, Any]:
    return dict(page.request.get(f"{address}/api/runs/{job['plan_id']}/plan").json())


def silicone_g(told: dict[str, Any]) -> float:
    return float(told["parts"][0]["moulds"][0]["skin"]["mass_g"]["p50"])
