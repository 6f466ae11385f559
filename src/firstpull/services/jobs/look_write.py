"""Lays a run's meshes out to be looked at, while it is planned."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.check.defects import find_defects
from firstpull.core.mesh.findings import Finding
from firstpull.core.mesh.grid import Grid
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.unit import UnitChoice
from firstpull.core.mould.body import Body
from firstpull.core.mould.loose import Loosened
from firstpull.core.mould.place import Standing
from firstpull.core.mould.preview import PREVIEW_STEP_MM
from firstpull.core.mould.show import Show
from firstpull.core.mould.skin import SkinShape
from firstpull.core.progress import Progress, quiet
from firstpull.files.mesh_box import SUFFIX, mesh_arrays, write_box
from firstpull.files.whole_file import whole_file
from firstpull.services.jobs.look import KEPT, LOOK, LOOK_READY, MAPS, VIEW, maps_on
from firstpull.services.stages import Stages, Store

T = TypeVar("T")

FILL_STEP_MM = 3.0  # the fill map's grid is no coarser; a finer one takes 8 times the disc
COARSE, FINE, SHOW = "skin-coarse", "skin-fine", "show"


class ShownStages(Stages):
    """Stages that lay out what they make as soon as it is there.

    Args:
        store, progress: as for Stages.
        view: the run's folder of views.
    """

    def __init__(self, store: Store, progress: Progress = quiet, *, view: View) -> None:
        super().__init__(store, progress)
        self.view = view

    def run(self, name: str, function: Callable[..., T], *inputs: Any, **more: Any) -> T:
        """As Stages.run; the mesh is shown before it is checked, its findings after."""
        if function is find_defects:
            self.view.show_arrived(inputs[0])
            self.progress(LOOK_READY, self._share)
        value = super().run(name, function, *inputs, **more)
        if function is find_defects:
            self.view.show_findings(value)
            self.progress(LOOK_READY, self._share)
        elif isinstance(value, SkinShape):
            self.view.keep_skin(value)
        elif isinstance(value, Standing):
            self.view.standing = value
        elif isinstance(value, Body):
            self.view.body = value
        elif isinstance(value, Loosened):
            self.view.loosened = value
        return value


class View:
    """A run's folder of views as it grows; readers never see half a file.

    Args:
        run_dir: the run's folder.
    """

    def __init__(self, run_dir: Path) -> None:
        self.folder = run_dir / VIEW
        for folder in (MAPS, KEPT):
            (self.folder / folder).mkdir(parents=True, exist_ok=True)
        self.standing: Standing | None = None
        self.body: Body | None = None
        self.loosened: Loosened | None = None
        self._look: dict[str, Any] = {}
        self._entries: list[dict[str, Any]] = []

    def read(self, unit: UnitChoice, notes: Sequence[str]) -> None:
        """What reading the mesh showed."""
        self._look = {
            "unit": unit.unit,
            "unit_why": unit.why,
            "notes": [*unit.warnings, *notes],
        }

    def show_arrived(self, printed: Mesh) -> None:
        """The mesh as it arrived, in mm at printed size."""
        self._add("arrived", "arrived", "As it arrived", printed, frame="file")
        self._look |= {
            "size_mm": [round(float(side), 2) for side in np.ptp(printed.vertices_mm, axis=0)],
            "triangles": len(printed.faces),
            "is_checked": False,
            "findings": [],
        }
        self._write("read", None)

    def show_findings(self, findings: Sequence[Finding]) -> None:
        """What is wrong with it."""
        self._look |= {"is_checked": True, "findings": [f.as_json() for f in findings]}
        self._write("read", None)

    def keep_skin(self, shape: SkinShape) -> None:
        """The skin's field, coarse: for previews as core takes it, and for fill a little finer."""
        preview = max(1, round(PREVIEW_STEP_MM / shape.grid.step_mm))
        fill = max(1, int(FILL_STEP_MM / shape.grid.step_mm))
        for name, steps in ((COARSE, preview), (FINE, fill)):
            phi = np.ascontiguousarray(shape.phi[::steps, ::steps, ::steps])
            meta = {
                "low_mm": list(shape.grid.low_mm),
                "step_mm": steps * shape.grid.step_mm,
                "reach_mm": shape.reach_mm,
                "thickness_mm": shape.thickness_mm,
            }
            arrays = {"phi": phi, "keys": shape.keys_mm.astype(np.float32)}
            write_box(self.folder / KEPT / (name + SUFFIX), arrays, meta)

    def keep_show(self, show: Show) -> None:
        """Which faces of the master are copied, and which would be without paint."""
        faces = {"faces": show.faces}
        if show.unpainted is not None:
            faces["unpainted"] = show.unpainted
        arrays = {name: on.astype(np.uint8) for name, on in faces.items()}
        write_box(self.folder / KEPT / (SHOW + SUFFIX), arrays)

    def show_planned(self) -> None:
        """Master, body, skin, shell and loose pieces, in mould axes."""
        standing, body, loosened = self.standing, self.body, self.loosened
        assert standing is not None and body is not None and loosened is not None
        self.keep_show(standing.show)
        self._add("master", "master", "Master", standing.master)
        self._add("body", "body", "Body on the board", body.mesh)
        self._add("skin", "skin", "Silicone skin", loosened.built.skin)
        for n, piece in enumerate(loosened.built.pieces, start=1):
            self._add(f"shell-{n}", "shell", f"Shell piece {n}", piece.mesh, pull=piece.pull)
        for n, loose in enumerate(loosened.pieces, start=1):
            self._add(f"loose-{n}", "loose", f"Loose piece {n}", loose.mesh, pull=loose.pull)
        self._write("planned", standing.frame)

    def _add(
        self,
        name: str,
        role: str,
        title: str,
        mesh: Mesh,
        *,
        frame: str = "mould",
        pull: Sequence[float] | None = None,
    ) -> None:
        arrays = mesh_arrays(mesh)
        places = arrays["positions"]
        bounds = {"low": places.min(axis=0).tolist(), "high": places.max(axis=0).tolist()}
        meta = {"title": title, "frame": frame, **bounds}
        size = write_box(self.folder / (name + SUFFIX), arrays, meta)
        self._entries.append(
            {
                "name": name,
                "role": role,
                "title": title,
                "triangles": len(mesh.faces),
                "bytes": size,
                "pull": None if pull is None else [float(c) for c in pull],
                "frame": frame,
                "maps": maps_on(role),
            }
        )

    def _write(self, stage: str, to_mould: Floats | None) -> None:
        look = {
            "stage": stage,
            "file_axes": to_mould is None,
            "to_mould": None if to_mould is None else [float(v) for v in to_mould.ravel()],
            **self._look,
            "meshes": self._entries,
        }
        with whole_file(self.folder / LOOK) as stream:
            stream.write(json.dumps(look, ensure_ascii=False, allow_nan=False).encode())


def kept_skin(run_dir: Path, name: str) -> SkinShape:
    """The skin's field as a run kept it, ``COARSE`` or ``FINE``."""
    from firstpull.files.mesh_box import read_box

    arrays, meta = read_box(run_dir / VIEW / KEPT / (name + SUFFIX))
    phi = arrays["phi"]
    low = meta["low_mm"]
    grid = Grid((low[0], low[1], low[2]), meta["step_mm"], phi.shape)
    keys = arrays["keys"].astype(np.float64)
    return SkinShape(grid, phi, meta["reach_mm"], meta["thickness_mm"], keys)
