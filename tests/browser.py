"""The app as it is served, and a visitor whose browser forgives no fault of the page."""

from __future__ import annotations

import base64
import json
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
AXE = Path(__file__).parents[1] / "ui" / "node_modules" / "axe-core" / "axe.min.js"
STATIC = Path(__file__).parents[1] / "src" / "firstpull" / "web" / "static" / "index.html"
# software drawing, and none of the browser's own conversations with its maker
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-sync",
    "--disable-background-networking",
    "--disable-component-update",
    "--enable-unsafe-swiftshader",
]
REFUSED = re.compile(r"responded with a status of (409|413|415|422)")
PLAN_MS = 240_000  # for a plan to be worked out on a busy machine

needs_browser = pytest.mark.skipif(
    CHROMIUM is None or not STATIC.exists(),
    reason="NO BROWSER TESTS: there is no chromium on this machine, or the page is not built",
)


@contextmanager
def served(workspace: Path, *options: str) -> Iterator[str]:
    """The app on a workspace, in a process of its own; its address, without a slash at the end."""
    command = [sys.executable, "-m", "firstpull", "serve", "--no-open", "--json"]
    process = subprocess.Popen(
        [*command, "--workspace", str(workspace), *options], stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        told = json.loads(process.stdout.readline())
        yield told["address"].rstrip("/")
    finally:
        process.terminate()
        process.wait(20)


@contextmanager
def visiting(
    *, width: int = 1280, height: int = 800, dark: bool = False, touch: bool = False
) -> Iterator[Any]:
    """A page of a browser; any fault of a page, or error in its console, fails the test."""
    from playwright.sync_api import sync_playwright

    faults: list[str] = []
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        context = browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme="dark" if dark else "light",
            has_touch=touch,
            accept_downloads=True,
        )
        page = context.new_page()
        page.on("pageerror", lambda fault: faults.append(f"page: {fault}"))
        page.on("console", lambda said: faults.extend(fault_in(said)))
        page.set_default_timeout(PLAN_MS)
        try:
            yield page
        finally:
            browser.close()
    assert faults == []


def fault_in(said: Any) -> list[str]:
    """What a line of the console tells of a fault; a refusal that the page shows is none."""
    if said.type != "error" or REFUSED.search(said.text):
        return []
    return [f"console: {said.text} ({said.location.get('url', '')})"]


def drop_file(page: Any, path: Path) -> None:
    """Let a file go over the page, as from a folder."""
    data = base64.b64encode(path.read_bytes()).decode()
    handle = page.evaluate_handle(
        """([data, name]) => {
            const bytes = Uint8Array.from(atob(data), (c) => c.charCodeAt(0));
            const transfer = new DataTransfer();
            transfer.items.add(new File([bytes], name));
            return transfer;
        }""",
        [data, path.name],
    )
    for kind in ("dragenter", "dragover", "drop"):
        page.dispatch_event("main", kind, {"dataTransfer": handle})


def ready(page: Any) -> None:
    """Wait until the object stands on the bench."""
    page.wait_for_selector("canvas[data-state=ready]")


def until_planned(page: Any, address: str, job: str, *, since: str | None = None) -> dict[str, Any]:
    """Wait until the job has a plan of its sheet as it stands, another than ``since``."""
    end = time.monotonic() + PLAN_MS / 1000
    while time.monotonic() < end:
        told = page.request.get(f"{address}/api/jobs/{job}").json()
        run = told["run"]
        assert run is None or run["state"] != "failed", run["refusal"]["sentence"]
        if told["plan_id"] not in (None, since) and told["plan_is_current"]:
            return dict(told)
        time.sleep(0.5)
    raise AssertionError("the plan was not done in time")


def hindrances(page: Any) -> list[str]:
    """What keeps some readers from the page, serious or worse, as axe finds it."""
    page.evaluate(AXE.read_text("utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")["violations"]
    return [
        f"{one['id']}: {node['html'][:120]}"
        for one in found
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]


def smallest_print(page: Any) -> float:
    """The smallest size in pixels that words on the page are set in; those unseen left out."""
    return float(
        page.evaluate(
            """Math.min(...[...document.querySelectorAll("body *")]
                .filter((at) => at.offsetParent && !at.children.length && at.innerText?.trim()
                    && !at.closest("[aria-hidden=true]"))
                .map((at) => parseFloat(getComputedStyle(at).fontSize)))"""
        )
    )
