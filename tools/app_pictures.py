"""Pictures of the app for its guide: every page in its states, in both lights and sizes.

Run it with the project's own Python, with chromium on the machine and the page built. It makes
a workspace of its own, plans the demo and writes docs/pictures/app-*.png anew.
"""

from __future__ import annotations

import datetime
import io
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PIL import Image

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))

from browser import served, until_planned, visiting  # noqa: E402
from firstpull.core.demo import heron_half_mask  # noqa: E402
from firstpull.core.job.kinds import Done  # noqa: E402
from firstpull.files.write_mesh import write_mesh  # noqa: E402
from firstpull.services.write_demo import write_broken  # noqa: E402
from firstpull.store.workspace.workspace import open_workspace  # noqa: E402

OUT = ROOT / "docs" / "pictures"
LAPTOP, TABLET = (1280, 800), (820, 1180)
COLOURS = 200
BIRDS = (
    "heron",
    "kingfisher",
    "wren",
    "owl",
    "curlew",
    "lapwing",
    "dipper",
    "swift",
    "jay",
    "teal",
)
PIECES = ("half-mask", "crest", "full mask", "gorget", "wing guard")
LONG = "Great grey heron half-mask, long bill and double crest, second boat, left hand"


def main() -> None:
    OUT.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home)
        many(folder / "many")
        with served(folder / "many") as address:
            look(address, "/", "jobs-300", until=lambda page: page.get_by_text("heron").first)
        with served(folder / "few") as address:
            look(address, "/", "jobs-none", dark=True)
            few(address, folder)


def many(workspace: Path) -> None:
    """Three hundred jobs, invented."""
    now = datetime.datetime(2026, 5, 4, 9, tzinfo=datetime.UTC)
    with open_workspace(workspace) as opened:
        for n in range(300):
            name = f"{BIRDS[n % 10]} {PIECES[n % 5]} {n + 1}".capitalize()
            due = datetime.date.today() + datetime.timedelta(days=n - 4) if n % 3 else None
            job = opened.desk.add_job(name, now=now, due_on=due)
            if n % 4 == 0:
                opened.desk.mark_done(job.id, Done("master", now.date()), now=now)


def few(address: str, folder: Path) -> None:
    """The demo from its first minute to its packet, and jobs that stop."""
    fine, broken, ball = folder / "heron.stl", folder / "heron-old-disc.stl", folder / "ball.stl"
    write_mesh(fine, heron_half_mask(triangles=200_000), unit="mm")
    write_broken(broken, triangles=60_000)
    write_mesh(ball, _ball(), unit="mm")
    with visiting(width=LAPTOP[0], height=LAPTOP[1]) as page:
        job = new_job(
            page, address, fine, sheet={"shell.pieces": 2, "cast.powder": "bronze-irregular"}
        )
        page.goto(f"{address}/jobs/{job}/master")
        page.wait_for_selector("canvas[data-state=ready]")
        page.get_by_role("progressbar").wait_for()
        shoot(page, "master-working")
        until_planned(page, address, job)
        old = new_job(page, address, broken)
        until_planned(page, address, old)
        stopped = new_job(page, address, ball)
        rename(page, address, stopped, LONG)
        wait(lambda: read(page, address, stopped)["run"]["state"] == "failed")
    for stage in ("master", "mould", "cast"):
        for dark in (False, True):
            look(address, f"/jobs/{job}/{stage}", stage, dark=dark)
        look(address, f"/jobs/{job}/{stage}", stage, size=TABLET)
    look(address, "/", "jobs", dark=True)
    look(address, "/", "jobs", size=TABLET)
    look(address, f"/jobs/{stopped}/master", "job-stopped", ready=False, dark=True)
    look(address, f"/jobs/{old}/master", "before-and-after", act=compare)
    look(address, f"/jobs/{job}/mould", "why", act=ask_why)
    look(address, f"/jobs/{job}/mould", "walls", act=move_wall)
    look(address, f"/jobs/{job}/mould", "fill", act=fill_map)
    look(address, f"/jobs/{job}/master", "thickness", act=thickness)
    look(address, f"/jobs/{job}/mould", "sheet", act=lambda page: press(page, "The whole sheet"))
    look(address, f"/jobs/{job}/mould", "take-away", act=lambda page: press(page, "Take away"))
    look(address, f"/jobs/{job}/cast", "mark-as-done", act=lambda page: press(page, "Mark as done"))
    look(address, "/materials", "materials", dark=True)


def look(
    address: str,
    path: str,
    name: str,
    *,
    size: tuple[int, int] = LAPTOP,
    dark: bool = False,
    ready: bool = True,
    until: Callable[[Any], Any] | None = None,
    act: Callable[[Any], None] | None = None,
) -> None:
    """One page, and what is done on it, in one light; ``dark`` pictures both where it is True."""
    for night in (False, True) if dark and act is None and path in ("/", "/materials") else (dark,):
        with visiting(width=size[0], height=size[1], dark=night, touch=size == TABLET) as page:
            page.goto(address + path)
            page.wait_for_selector("h1", state="attached")
            if ready and path.startswith("/jobs/"):
                page.wait_for_selector("canvas[data-state=ready]")
            if until is not None:
                until(page).wait_for()
            page.wait_for_timeout(800)
            if act is not None:
                act(page)
                page.wait_for_timeout(800)
            shoot(page, name + ("-tablet" if size == TABLET else "") + ("-night" if night else ""))


def shoot(page: Any, name: str) -> None:
    picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    picture.quantize(COLOURS, dither=Image.Dither.NONE).save(OUT / f"app-{name}.png", optimize=True)
    print(f"app-{name}.png", flush=True)


def press(page: Any, name: str) -> None:
    page.get_by_role("button", name=name).click()
    page.get_by_role("dialog").wait_for()


def compare(page: Any) -> None:
    page.get_by_role("button", name="Before and after").click()
    page.wait_for_timeout(500)
    page.wait_for_selector("canvas[data-state=ready]")


def ask_why(page: Any) -> None:
    page.locator("[data-path$='skin.mass_g']").click()
    page.get_by_role("dialog").get_by_text("density").first.wait_for()


def move_wall(page: Any) -> None:
    page.get_by_role("button", name="Move walls and pulls").click()
    handle = page.get_by_role("button", name="Move wall 1")
    handle.focus()
    for _ in range(2):
        page.keyboard.press("Shift+ArrowRight")
    page.wait_for_selector(".draft[data-busy=false] strong")
    page.wait_for_timeout(1500)


def thickness(page: Any) -> None:
    colour(page, "Wall thickness")


def fill_map(page: Any) -> None:
    colour(page, "Fill for the pull of piece 1")


def colour(page: Any, words: str) -> None:
    page.get_by_role("button", name="Colour by").click()
    page.get_by_role("button", name=words).click()
    page.locator(".scale").wait_for()


def new_job(page: Any, address: str, mesh: Path, sheet: dict[str, Any] | None = None) -> str:
    url = f"{address}/api/jobs?file={mesh.name}"
    job = str(page.request.post(url, data=mesh.read_bytes()).json()["id"])
    if sheet:
        version = page.request.get(f"{address}/api/jobs/{job}/sheet").json()["version"]
        change = {"version": version, "fields": sheet}
        assert page.request.patch(f"{address}/api/jobs/{job}/sheet", data=change).ok
    return job


def rename(page: Any, address: str, job: str, name: str) -> None:
    version = read(page, address, job)["version"]
    change = {"version": version, "name": name, "due_on": "2026-06-20"}
    assert page.request.patch(f"{address}/api/jobs/{job}", data=change).ok


def read(page: Any, address: str, job: str) -> dict[str, Any]:
    return dict(page.request.get(f"{address}/api/jobs/{job}").json())


def wait(holds: Callable[[], bool]) -> None:
    end = time.monotonic() + 240
    while not holds():
        assert time.monotonic() < end, "that took too long"
        time.sleep(0.3)


def _ball() -> Any:
    import trimesh

    from firstpull.core.mesh.mesh import Mesh

    ball = trimesh.creation.icosphere(4, 60.0)
    return Mesh(ball.vertices, ball.faces)


if __name__ == "__main__":
    main()
