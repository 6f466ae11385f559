"""A run's plan to take away: all files in one archive, all solids in one 3MF, a mesh as GLB.

Archive and 3MF are made when first asked for and lie in the run's folder until it is cleared
away; a plan never changes, so they never grow old.
"""

from __future__ import annotations

import json
import re
import shutil
import threading
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from firstpull.core.job.kinds import Run
from firstpull.core.job.refusals import DiscFull, NoSuchThing
from firstpull.core.progress import Progress, quiet
from firstpull.files.mesh_box import read_head
from firstpull.files.plan_folder import PLAN
from firstpull.files.whole_file import whole_file
from firstpull.packet.palette import CLAY, LOOSE, MASTER, SHELL_TONES, SILICONE, Colour
from firstpull.services.jobs.look import PLAN_FOLDER
from firstpull.services.jobs.places import run_folder
from firstpull.services.worker import run_in_worker

AWAY = "away"
PACKED_ALREADY = {".pdf", ".png"}
LEVEL = 1  # of packing: an STL shrinks to a third, and level 6 takes 4 times as long for little
SPARE_BYTES = 50_000_000  # of the disc that stay free
ARRAYS = ("positions", "indices")  # of a mesh's box
METRES = 0.001  # GLB is in metres: a node scales what lies under it


class TakeAway:
    """Makes what is taken away, one at a time; thread-safe.

    Args:
        folder: the workspace.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()

    def zip(self, run: Run) -> Path:
        """All files of a run's plan in one archive, under a folder with the job's name.

        The same plan gives the same bytes.

        Raises:
            NoSuchThing: the run has no plan.
            DiscFull: there is no room.
        """
        return self._made(run, "all.zip", zip_plan)

    def three_mf(self, run: Run) -> Path:
        """Master, body, skin, shell and loose pieces in one 3MF, where they lie in the mould.

        Raises:
            NoSuchThing: the run has no plan.
            DiscFull: there is no room.
            WorkerLost: the process that makes it ended.
        """

        def make(plan_dir: Path, out: Path) -> None:
            run_in_worker(write_plan_3mf, plan_dir, out)

        return self._made(run, "all.3mf", make)

    def glb(self, box: Path) -> bytes:
        """A mesh's box as GLB; see ``glb_of_box``."""
        return glb_of_box(box)

    def _made(self, run: Run, name: str, make: Callable[[Path, Path], None]) -> Path:
        run_dir = run_folder(self._folder, run)
        plan_dir, out = run_dir / PLAN_FOLDER, run_dir / AWAY / name
        with self._lock:
            if out.is_file():
                return out
            if not (plan_dir / PLAN).is_file():
                raise NoSuchThing(
                    where="The plan of this run",
                    found="is not there",
                    limit="it is there once the run is done, until newer ones take its place",
                    remedy="Take the job's newest plan, or plan it again.",
                )
            _need_room(plan_dir)
            out.parent.mkdir(exist_ok=True)
            make(plan_dir, out)
            return out


def zip_plan(plan_dir: Path, out: Path) -> None:
    """A plan's folder as an archive, in one order and with one date."""
    title = plan_title(json.loads((plan_dir / PLAN).read_bytes()))
    files = sorted(p for p in plan_dir.rglob("*") if p.is_file() and not p.is_symlink())
    with (
        whole_file(out) as stream,
        zipfile.ZipFile(stream, "w", compresslevel=LEVEL) as archive,
    ):
        for path in files:
            packed = path.suffix in PACKED_ALREADY
            archive.compression = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
            name = f"{title}/{path.relative_to(plan_dir).as_posix()}"
            # opened by name, an entry has a fixed date
            with path.open("rb") as file, archive.open(name, "w") as entry:
                shutil.copyfileobj(file, entry, 1 << 20)


def plan_title(plan: dict[str, Any]) -> str:
    """A job's name as a folder may be called.

    >>> plan_title({"job": {"name": "Heron: half/mask "}}), plan_title({"job": {"name": ".."}})
    ('Heron half mask', 'plan')
    """
    words = re.sub(r"[^\w -]+", " ", plan["job"]["name"]).split()
    return " ".join(words)[:60] or "plan"


def write_plan_3mf(plan_dir: Path, out: Path, *, progress: Progress = quiet) -> None:
    """The solids of a plan as 3MF, read back from its own files, named and coloured."""
    from firstpull.files.read_mesh import read_mesh
    from firstpull.files.write_3mf import NamedSolid, write_solids_3mf

    plan = json.loads((plan_dir / PLAN).read_bytes())
    listed = plan_solids(plan)
    solids = []
    for done, (name, file, colour) in enumerate(listed):
        progress("reading the solids", 0.3 * done / len(listed))
        solids.append(NamedSolid(name, read_mesh(plan_dir / file).mesh, colour))
    progress("writing 3MF", 0.3)
    with whole_file(out) as stream:
        write_solids_3mf(stream, solids)
    progress("writing 3MF", 1.0)


def plan_solids(plan: dict[str, Any]) -> list[tuple[str, str, Colour]]:
    """Name, file and colour of each solid of a plan, in the order of the work."""
    found: list[tuple[str, str, Colour]] = []
    for part in plan["parts"]:
        found.append(("master", part["master"]["file"], MASTER))
        for mould in part["moulds"]:
            found.append(("body", mould["body"]["file"], CLAY))
            found.append(("skin", mould["skin"]["file"], SILICONE))
            for n, piece in enumerate(mould["shell"]["pieces"]):
                tone = SHELL_TONES[n % len(SHELL_TONES)]
                found.append((f"shell {n + 1}", piece["file"], tone))
            for n, piece in enumerate(mould["shell"].get("loose", ()), start=1):
                found.append((f"loose {n}", piece["file"], LOOSE))
    if len(plan["parts"]) == 1:
        return found
    names = [p["name"] for p in plan["parts"] for _ in range(_count(p))]
    return [(f"{of}: {n}", file, c) for of, (n, file, c) in zip(names, found, strict=True)]


def _count(part: dict[str, Any]) -> int:
    """How many solids a part has."""
    shells = [mould["shell"] for mould in part["moulds"]]
    return 1 + sum(2 + len(s["pieces"]) + len(s.get("loose", ())) for s in shells)


def glb_of_box(path: Path) -> bytes:
    """A mesh's box as GLB (glTF 2.0), its numbers copied as they are.

    Corners stay in mm under a node that scales them to metres.

    Raises:
        BadBox: the file is no whole box.
    """
    head = read_head(path)
    data = path.read_bytes()
    arrays = [data[first : first + length] for first, length in map(head.span, ARRAYS)]
    places, corners = (head.arrays[name]["shape"][0] for name in ARRAYS)
    title, size = head.meta.get("title", path.stem), sum(map(len, arrays))
    views = [
        {"buffer": 0, "byteOffset": 0, "byteLength": len(arrays[0]), "target": 34962},
        {"buffer": 0, "byteOffset": len(arrays[0]), "byteLength": len(arrays[1]), "target": 34963},
    ]
    accessors = [
        {
            "bufferView": 0, "componentType": 5126, "count": places, "type": "VEC3",
            "min": head.meta["low"], "max": head.meta["high"],
        },
        {"bufferView": 1, "componentType": 5125, "count": 3 * corners, "type": "SCALAR"},
    ]  # fmt: skip
    gltf = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"scale": [METRES] * 3, "children": [1]}, {"name": title, "mesh": 0}],
        "meshes": [{"name": title, "primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": accessors,
        "bufferViews": views,
        "buffers": [{"byteLength": size}],
    }
    text = json.dumps(gltf, separators=(",", ":"), allow_nan=False).encode()
    text += b" " * (-len(text) % 4)
    start = b"glTF" + _four(2) + _four(12 + 8 + len(text) + 8 + size)
    return b"".join([start, _four(len(text)), b"JSON", text, _four(size), b"BIN\0", *arrays])


def _four(value: int) -> bytes:
    return value.to_bytes(4, "little")


def _need_room(plan_dir: Path) -> None:
    needed = sum(path.stat().st_size for path in plan_dir.rglob("*") if path.is_file())
    free = shutil.disk_usage(plan_dir).free
    if free < needed + SPARE_BYTES:
        raise DiscFull(
            where="The disc that holds the workspace",
            found=f"has {free / 1e6:,.0f} MB free",
            limit=f"to take the plan away takes up to {needed / 1e6:,.0f} MB there, and "
            f"{SPARE_BYTES / 1e6:,.0f} MB stay free",
            remedy="Make room, or save single files of the plan.",
        )
