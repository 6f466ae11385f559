"""Draws a part in lines at full size: sections through it, or its outline, as SVG or DXF."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firstpull.core.mesh.lines.figure import Axis, Figure, Plane
from firstpull.core.mesh.lines.outline import outline
from firstpull.core.mesh.lines.section import planes_along, sections
from firstpull.core.progress import Progress, quiet
from firstpull.files.drawing import Drawing, Layer, caption
from firstpull.files.write_dxf import dxf_bytes
from firstpull.files.write_svg import svg_bytes
from firstpull.services.mesh_in import Arrived, arrive
from firstpull.services.results_out import need_format, need_free, write_whole

DRAWINGS = ("svg", "dxf")


@dataclass(frozen=True)
class LinesReport:
    """What was drawn.

    Args:
        arrived: the mesh as it came in.
        figures: the lines in each plane, those without any left out.
        missed: planes that do not meet the part.
        written: the drawing.
    """

    arrived: Arrived
    figures: tuple[Figure, ...]
    missed: int
    written: Path

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was drawn, plane by plane."""
        lines = [f"{_where(figure.plane)}: {_size(figure)}." for figure in self.figures]
        if self.missed:
            planes = "1 plane passes" if self.missed == 1 else f"{self.missed} planes pass"
            lines.append(f"{planes} beside the part.")
        lines.append("Measure the 100 mm bar on paper before you use the drawing.")
        return tuple(lines)

    def as_json(self) -> dict[str, Any]:
        """The report as plain data."""
        return {
            **self.arrived.as_json(),
            "figures": [
                {
                    "point_mm": figure.plane.point_mm.tolist(),
                    "normal": figure.plane.normal.tolist(),
                    "lines": len(figure.curves),
                    "closed": figure.is_closed,
                    "size_mm": [round(side, 4) for side in figure.size_mm],
                    "length_mm": round(figure.length_mm, 4),
                    "area_mm2": round(figure.area_mm2, 4),
                }
                for figure in self.figures
            ],
            "planes_missed": self.missed,
            "sentences": list(self.sentences),
            "written": [str(self.written)],
        }


def draw_sections(
    path: str | Path,
    *,
    out: Path,
    planes: Sequence[Plane] = (),
    along: Axis | None = None,
    every_mm: float | None = None,
    unit: str | None = None,
    scale: float | None = None,
    force: bool = False,
    progress: Progress = quiet,
) -> LinesReport:
    """Draws where planes cut a mesh file, broken or sound.

    Args:
        path: the mesh file; it is not changed.
        out: the drawing, SVG or DXF.
        planes: to cut at, in millimetres of the part.
        along, every_mm: more planes, square to an axis at whole multiples of a distance.
        unit, scale: see ``arrive``.
        force: whether an older drawing may be replaced.
        progress: told what is being done.

    Raises:
        NothingToDraw: no plane meets the part.
        WorkshopError: the file cannot be read, or the drawing cannot be written.
    """
    arrived = _arrived(path, out, unit, scale, force, progress)
    cuts = list(planes)
    if along is not None and every_mm is not None:
        cuts += planes_along(arrived.mesh, along, every_mm=every_mm)
    progress("cutting", 0.4)
    figures = sections(arrived.mesh, cuts)
    what = "Section" if len(cuts) == 1 else "Sections"
    return _drawn(arrived, figures, out, what)


def draw_outline(
    path: str | Path,
    *,
    out: Path,
    towards_viewer: Sequence[float],
    unit: str | None = None,
    scale: float | None = None,
    force: bool = False,
    progress: Progress = quiet,
) -> LinesReport:
    """Draws the outline of a mesh file as seen from a side, with the holes one sees through.

    Args:
        towards_viewer: (x, y, z) from the part to the eye; the rest as in ``draw_sections``.
    """
    arrived = _arrived(path, out, unit, scale, force, progress)
    progress("drawing the outline", 0.4)
    return _drawn(arrived, [outline(arrived.mesh, towards_viewer)], out, "Outline")


def _arrived(
    path: str | Path,
    out: Path,
    unit: str | None,
    scale: float | None,
    force: bool,
    progress: Progress,
) -> Arrived:
    need_format(out, DRAWINGS)
    need_free([out], inputs=[Path(path)], force=force)
    progress("reading the file", 0.0)
    return arrive(path, unit=unit, scale=scale)


def _drawn(arrived: Arrived, figures: Sequence[Figure], out: Path, what: str) -> LinesReport:
    shown = [figure for figure in figures if figure.curves]
    planes = [figure.plane for figure in shown or figures]
    words = caption(what, part=arrived.path.stem, planes=planes) if planes else what
    drawing = Drawing(words, [Layer(_where(figure.plane), figure) for figure in shown])
    drawn = svg_bytes(drawing) if out.suffix.lower() == ".svg" else dxf_bytes(drawing)
    write_whole(out, drawn)
    return LinesReport(arrived, tuple(shown), len(figures) - len(shown), out)


def _where(plane: Plane) -> str:
    """The name of a plane.

    >>> _where(Plane.across("z", 20)), _where(Plane([0, 0, 0], [1, 1, 0]))
    ('z = 20', 'square to 0.707, 0.707, 0.000')
    """
    for axis, name in enumerate("xyz"):
        if plane.normal[axis] == 1.0:
            return f"{name} = {plane.point_mm[axis] + 0.0:g}"
    return "square to " + ", ".join(f"{value + 0.0:.3f}" for value in plane.normal)


def _size(figure: Figure) -> str:
    wide, high = figure.size_mm
    count = len(figure.curves)
    lines = "1 line" if count == 1 else f"{count} lines"
    ends = "" if figure.is_closed else ", some of them open: the mesh has open edges there"
    return f"{lines}, {wide:.1f} x {high:.1f} mm{ends}"
