"""What the app costs: first paint, 500,000 triangles, a pick, page weight, reads, memory.

    python benchmarks/app.py [--triangles 500000] [--plans 10] [--reads 400]

Serves the app on a workspace of its own, opens it in headless Chromium (drawing in software)
and prints a table; it decides nothing. Plans are made small, so that ten take a few minutes.
"""

from __future__ import annotations

import argparse
import gzip
import json
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from browser import served, visiting
from firstpull.core.demo import heron_half_mask
from firstpull.files.write_mesh import write_mesh

STATIC = Path(__file__).resolve().parents[1] / "src" / "firstpull" / "web" / "static"

SETTLE_S = 8  # until the process that answers previews has read the plan


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--triangles", type=int, default=500_000)
    parser.add_argument("--plans", type=int, default=10)
    parser.add_argument("--reads", type=int, default=400)
    asked = parser.parse_args()
    weigh()
    with tempfile.TemporaryDirectory() as folder:
        fine, small = Path(folder, "fine.stl"), Path(folder, "small.stl")
        write_mesh(fine, heron_half_mask(triangles=asked.triangles), unit="mm")
        write_mesh(small, heron_half_mask(triangles=50_000), unit="mm")
        with served(Path(folder, "workspace")) as address:
            look(address, fine)
            read_while_planning(address, small, asked.reads)
            remember(address, small, asked.plans)


def told(what: str, value: str) -> None:
    print(f"{what:58s}{value:>16s}", flush=True)


def weigh() -> None:
    """Bytes over the wire until the list of jobs is there: page, its code, look and fonts."""
    page = (STATIC / "index.html").read_text()
    named = [p for p in STATIC.rglob("*") if p.is_file() and f"/{p.relative_to(STATIC)}" in page]
    fonts = sorted(STATIC.glob("fonts/*.woff2"))
    sizes = [len(gzip.compress(p.read_bytes(), 9)) for p in [STATIC / "index.html", *named]]
    told("page before 3D, gzipped", f"{(sum(sizes) + size(fonts)) / 1000:.1f} kB")
    told("  of it fonts", f"{size(fonts) / 1000:.1f} kB")
    view = [len(gzip.compress(p.read_bytes(), 9)) for p in STATIC.glob("assets/view3d*.js")]
    told("3D view, when a job is opened", f"{sum(view) / 1000:.1f} kB")


def size(paths: list[Path]) -> int:
    return sum(path.stat().st_size for path in paths)


def look(address: str, mesh: Path) -> None:
    """First paint of the list; then a planned job's master, from the click on; then picks on it."""
    job = new_job(address, mesh)["id"]
    until_done(address, job)
    time.sleep(SETTLE_S)
    with visiting() as page:
        page.goto(address)
        page.wait_for_selector("h1")
        paints = []
        for _ in range(5):
            page.reload()
            page.wait_for_selector("h1")
            paints.append(page.evaluate("performance.getEntriesByName('first-paint')[0].startTime"))
        told("first paint, median of 5", f"{statistics.median(paints):.0f} ms")
    with visiting() as page:
        times = [seen_after_click(page, address, job) for _ in range(7)]
        told("mesh visible after the click, first of a new browser", f"{times[0]:.0f} ms")
        told("mesh visible after the click, median of 7", f"{statistics.median(times):.0f} ms")
        picks = picked(page)
        told("pick, median", f"{picks[len(picks) // 2]:.2f} ms")
        told(f"pick, slowest of {len(picks)}", f"{picks[-1]:.2f} ms")


def seen_after_click(page: Any, address: str, job: str) -> float:
    """ms from the click on a job in the list until master and headform are drawn."""
    page.goto(address)
    link = page.locator(f"a[href^='/jobs/{job}']").first
    link.wait_for()
    page.wait_for_timeout(1500)  # a person looks at the list first
    page.evaluate(
        """() => addEventListener('click', () => {
            const from = performance.now();
            const look = () => document.querySelector('canvas[data-state=ready]')
                ? (window.waited = performance.now() - from) : requestAnimationFrame(look);
            look();
        }, { once: true, capture: true })"""
    )
    link.click()
    page.wait_for_selector("canvas[data-state=ready]")
    page.wait_for_timeout(300)
    return float(page.evaluate("window.waited"))


def picked(page: Any, clicks: int = 40) -> list[float]:
    """ms that the page takes to tell what was clicked, in order of length, once trees are built."""
    page.wait_for_timeout(3000)
    page.evaluate(
        """() => {
            window.picks = [];
            let from = 0;
            addEventListener('pointerup', () => (from = performance.now()), { capture: true });
            addEventListener('pointerup', () => picks.push(performance.now() - from));
        }"""
    )
    box = page.locator("canvas.bench-canvas").bounding_box()
    found = 0
    for n in range(clicks):
        x, y = box["x"] + box["width"] * (0.28 + 0.005 * n), box["y"] + box["height"] * 0.8
        page.mouse.click(x, y)
        found += page.locator(".reading").inner_text() != ""
    assert found > clicks / 2, f"only {found} of {clicks} clicks met the part"
    return sorted(page.evaluate("window.picks"))


def read_while_planning(address: str, mesh: Path, reads: int) -> None:
    """Reads of the interface from one client, one after another, while a plan runs."""
    job = new_job(address, mesh)
    paths = ["/api/jobs", f"/api/jobs/{job['id']}", f"/api/jobs/{job['id']}/sheet"]
    wait_for(lambda: ask(address, f"/api/jobs/{job['id']}")["run"]["state"] == "working")
    times: dict[str, list[float]] = {path: [] for path in paths}
    for turn in range(reads):
        path = paths[turn % len(paths)]
        started = time.perf_counter()
        ask(address, path)
        times[path].append(1000 * (time.perf_counter() - started))
        time.sleep(0.01)
    still = ask(address, f"/api/jobs/{job['id']}")["run"]["state"]
    everything = sorted(t for some in times.values() for t in some)
    told(f"reads while a plan runs ({still}), p50", f"{statistics.median(everything):.1f} ms")
    told("reads while a plan runs, p99", f"{everything[int(0.99 * len(everything))]:.1f} ms")
    until_done(address, job["id"])


def remember(address: str, mesh: Path, plans: int) -> None:
    """Memory of the serving process after so many plans."""
    job = new_job(address, mesh)["id"]
    until_done(address, job)
    for turn in range(plans - 1):
        sheet = ask(address, f"/api/jobs/{job}/sheet")
        fields = {"skin.thickness_mm": 5.0 + 0.25 * turn}
        send(
            address,
            "PATCH",
            f"/api/jobs/{job}/sheet",
            {"version": sheet["version"], "fields": fields},
        )
        until_done(address, job)
    pids = subprocess.run(["pgrep", "-f", "firstpull serve"], capture_output=True, text=True)
    resident = [resident_mb(int(pid)) for pid in pids.stdout.split()]
    told(f"memory of the server after {plans} plans", f"{max(resident):.0f} MB")


def resident_mb(pid: int) -> float:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return 0.0


def new_job(address: str, mesh: Path) -> dict[str, Any]:
    request = urllib.request.Request(
        f"{address}/api/jobs?file={mesh.name}", data=mesh.read_bytes(), method="POST"
    )
    with urllib.request.urlopen(request) as answer:
        return dict(json.load(answer))


def ask(address: str, path: str) -> Any:
    with urllib.request.urlopen(address + path) as answer:
        body = answer.read()
    return json.loads(body) if body else None


def post(address: str, path: str) -> None:
    send(address, "POST", path, {})


def send(address: str, method: str, path: str, body: dict[str, Any]) -> None:
    head = {"content-type": "application/json"}
    data = json.dumps(body).encode()
    urllib.request.urlopen(
        urllib.request.Request(address + path, data, head, method=method)
    ).close()


def until_done(address: str, job: str) -> None:
    wait_for(lambda: ask(address, f"/api/jobs/{job}")["run"]["state"] in ("done", "failed"))


def wait_for(holds: Any, *, seconds: float = 600.0) -> None:
    end = time.monotonic() + seconds
    while not holds():
        if time.monotonic() > end:
            raise TimeoutError("that took too long")
        threading.Event().wait(0.25)


if __name__ == "__main__":
    main()
