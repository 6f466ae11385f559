"""Which pictures a packet shows of a part and of its mould, and from where."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.packet.camera import FOUR_SIDES, QUARTER, View, fitted_size
from firstpull.packet.overlay import Arrow, foot_px
from firstpull.packet.palette import CLAY, LOOSE, MASTER, SHELL, SHELL_TONES, SILICONE
from firstpull.packet.pictures import Solid, Studio, png
from firstpull.packet.raycast import Plane

WIDE_PX = 1040
SIDE_PX = 640
LOOSE_OUT = 0.3  # of the height, that a loose piece is shown out of its pocket
COINCIDENT_MM = 0.05  # the master shares faces with the body; this far out, it is seen first


@dataclass(frozen=True)
class MouldSolids:
    """The solids of one mould, all in the mould frame, in mm.

    Args:
        master: the finished original.
        body: master and filler as one solid.
        skin: the silicone.
        pieces: (mesh, pull) of each shell piece in the order they come off.
        loose: (mesh, pull) of each loose piece between skin and shell.
    """

    master: Mesh
    body: Mesh
    skin: Mesh
    pieces: Sequence[tuple[Mesh, Sequence[float]]]
    loose: Sequence[tuple[Mesh, Sequence[float]]] = ()


def picture_key(part: int, name: str, *, mould: int | None = None) -> str:
    """The name under which a picture is kept; parts and moulds count from 1.

    >>> picture_key(1, "hero"), picture_key(1, "section", mould=2)
    ('part-1-hero', 'part-1-mould-2-section')
    """
    return f"part-{part}-{name}" if mould is None else f"part-{part}-mould-{mould}-{name}"


def master_pictures(
    master: Mesh, *, part: int = 1, findings: Sequence[Mapping[str, Any]] = ()
) -> dict[str, bytes]:
    """The master for page 1, and again with a pin at the first place of each finding."""
    studio = Studio([(master, MASTER)])
    if studio.stage is None:
        return {}
    pictures = {picture_key(part, "hero"): _fitted(studio, QUARTER)}
    places = [
        (str(number), finding["places_mm"][0])
        for number, finding in enumerate(findings, start=1)
        if finding.get("places_mm")
    ]
    if places:
        pictures[picture_key(part, "findings")] = _fitted(studio, QUARTER, places_mm=places)
    return pictures


def mould_pictures(
    solids: MouldSolids,
    *,
    part: int = 1,
    mould: int = 1,
    progress: Callable[[float], None] = lambda share: None,
) -> dict[str, bytes]:
    """The closed mould from four sides at one scale, taken apart, and cut through."""
    shell = shell_solids(solids.pieces)
    studio = Studio([*shell, (solids.skin, SILICONE)])
    pictures = {}
    size, scale = fitted_size(
        studio.points_mm(), views=FOUR_SIDES, width_px=SIDE_PX, foot_px=foot_px((SIDE_PX, 0))
    )
    for done, view in enumerate(FOUR_SIDES):
        drawn = studio.picture(view, size_px=size, mm_per_px=scale)
        pictures[picture_key(part, view.name, mould=mould)] = png(drawn)
        progress((done + 1) / 6)
    pictures[picture_key(part, "exploded", mould=mould)] = exploded_picture(solids)
    progress(5 / 6)
    pictures[picture_key(part, "section", mould=mould)] = section_picture(solids)
    progress(1.0)
    return pictures


def shell_solids(pieces: Sequence[tuple[Mesh, Sequence[float]]]) -> list[Solid]:
    """The shell pieces, each in a tone of its own."""
    return [(m, SHELL_TONES[i % len(SHELL_TONES)]) for i, (m, _) in enumerate(pieces)]


def exploded_picture(solids: MouldSolids) -> bytes:
    """Body on the board, the skin lifted off it, the shell pieces moved along their pull."""
    low, high = solids.skin.bounds_mm
    height = float(high[2] - low[2]) or 1.0
    lift = np.array([0.0, 0.0, 1.05 * height])
    shown: list[Solid] = [(_swollen(solids.master, COINCIDENT_MM), MASTER)]
    shown += [(solids.body, CLAY)]
    shown.append((_shifted(solids.skin, lift), SILICONE))
    for piece, pull in solids.loose:  # out of its pocket, before the skin
        shown.append((_shifted(piece, lift + np.asarray(pull, float) * LOOSE_OUT * height), LOOSE))
    arrows = []
    for (piece, tone), (_, pull) in zip(shell_solids(solids.pieces), solids.pieces, strict=True):
        way = np.asarray(pull, float) * _explode_mm(pull, height)
        shown.append((_shifted(piece, lift + way), tone))
        tail = piece.vertices_mm.mean(axis=0) + lift + way
        arrows.append(Arrow(tail, tail + np.asarray(pull, float) * 0.55 * height))
    view = _across(solids.pieces, elevation_deg=16)
    return _fitted(Studio(shown), view, arrows=arrows)


def section_picture(solids: MouldSolids) -> bytes:
    """The closed mould, cut upright through its middle so that the pulls lie in the cut."""
    view = _across(solids.pieces, elevation_deg=0, fallback=_short_side(solids.skin))
    middle = solids.body.bounds_mm.mean(axis=0)
    cut = Plane(tuple(middle.tolist()), tuple(view.eye.tolist()))
    cut_shell = [(m, SHELL) for m, _ in solids.pieces]
    shown: list[Solid] = [(solids.master, MASTER), (solids.skin, SILICONE)]
    shown += [(solids.body, CLAY), *cut_shell, *((m, LOOSE) for m, _ in solids.loose)]
    return _fitted(Studio(shown), view, cut=cut)


def _fitted(studio: Studio, view: View, *, cut: Plane | None = None, **marks: Any) -> bytes:
    foot = foot_px((WIDE_PX, 0))
    points = studio.points_mm(cut)
    size, _ = fitted_size(points, views=[view], width_px=WIDE_PX, foot_px=foot)
    return png(studio.picture(view, size_px=size, cut=cut, **marks))


def _swollen(mesh: Mesh, by_mm: float) -> Mesh:
    """The mesh moved outward along its vertex normals; for pictures only."""
    normals = np.zeros_like(mesh.vertices_mm)
    for corner in range(3):
        np.add.at(normals, mesh.faces[:, corner], mesh.face_vectors_mm2)
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    return Mesh(mesh.vertices_mm + by_mm * normals / np.maximum(length, 1e-12), mesh.faces)


def _shifted(mesh: Mesh, by_mm: Floats) -> Mesh:
    return Mesh(mesh.vertices_mm + by_mm, mesh.faces)


def _explode_mm(pull: Sequence[float], height: float) -> float:
    return height * (0.55 + 0.35 * max(float(pull[2]), 0.0))


def _across(
    pieces: Sequence[tuple[Mesh, Sequence[float]]],
    *,
    elevation_deg: float,
    fallback: float = -90.0,
) -> View:
    """A view at right angles to the sideways part of the pulls; sideways pulls lie flat in it."""
    sideways = [(p[0], p[1]) for _, p in pieces if math.hypot(p[0], p[1]) > 0.05]
    azimuth = fallback
    if sideways:
        x, y = max(sideways, key=lambda s: math.hypot(*s))
        azimuth = math.degrees(math.atan2(y, x)) - 90.0
        if math.sin(math.radians(azimuth)) > 1e-6:  # of the two sides, look from the front
            azimuth += 180.0
    return View("across", azimuth, elevation_deg)


def _short_side(mesh: Mesh) -> float:
    """The azimuth from which the narrower side of the part is seen."""
    extent = np.ptp(mesh.bounds_mm, axis=0)
    return -90.0 if extent[0] <= extent[1] else 0.0
