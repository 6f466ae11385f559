"""A sheet to pin up: a mesh from two sides with its marks or its map, and the key below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.packet.camera import Frame, View, fitted_frame, fitted_size
from firstpull.packet.mesh_marks import Badge, MeshMarks
from firstpull.packet.mesh_views import two_views, upright, visible
from firstpull.packet.overlay import foot_px
from firstpull.packet.palette import MASTER, PAPER, Colour
from firstpull.packet.pictures import SAMPLES, Studio, png
from firstpull.packet.poster import Key, poster
from firstpull.packet.ramps import NEW, Ramp

PANEL_PX = 880
HATCH_PX = (11, 3)  # on the sub-pixel grid: apart, and wide
LIFT = 0.72  # of the shade is left under a map, so that its colours are those of the key

Pixels = NDArray[np.uint8]


@dataclass(frozen=True)
class Mark:
    """Something to look at on a mesh.

    Args:
        label: what stands on its pin.
        sentence: what the key says of it.
        places_mm: (N, 3) where it is; the pin stands at one of them, dots at the others. A
            mark without a place stands in the key alone.
        shape: "disc" for what is wrong, "tag" for what is asked about.
        ring_mm: lines along it, each (N, 3) and closed.
    """

    label: str
    sentence: str
    places_mm: Floats
    shape: Literal["disc", "tag"] = "disc"
    rings_mm: tuple[Floats, ...] = ()


@dataclass(frozen=True)
class Paint:
    """Values over a mesh, to be shown in colour.

    Args:
        values: (V,) at the vertices or (F,) of the faces.
        ramp: their colours.
        new: (F,) faces that are new surface and have a colour of their own; None for none.
        new_words: what the key calls them.
    """

    values: Floats
    ramp: Ramp
    new: Flags | None = None
    new_words: str = "new surface"


@dataclass(frozen=True)
class MeshSheet:
    """What goes on a sheet.

    Args:
        title: the part.
        facts: one line under it.
        mesh: in millimetres.
        marks: to be pinned.
        paint: a map, or None for plain.
        notes: sentences at the foot.
        look_at_mm: (N, 3) places that should be seen, without a mark.
    """

    title: str
    facts: str
    mesh: Mesh
    marks: Sequence[Mark] = ()
    paint: Paint | None = None
    notes: Sequence[str] = ()
    look_at_mm: Sequence[Sequence[float]] = ()


def mesh_picture(sheet: MeshSheet) -> bytes:
    """The sheet as a PNG file; the same sheet gives the same bytes."""
    turn = upright(sheet.mesh)
    sheet = _turned(sheet, turn)
    colour = MASTER if sheet.paint is None else PAPER
    studio = Studio([(sheet.mesh, colour)])
    assert studio.stage is not None, "a mesh without faces is refused before it is pictured"
    # pins stay at the places that a finding tells of, rings count where they run
    pinned = [np.concatenate([m.places_mm, *m.rings_mm]) for m in sheet.marks]
    targets = pinned + [np.array([place]) for place in sheet.look_at_mm]
    views = two_views(studio.stage, targets)
    size, scale = fitted_size(
        studio.points_mm(), views=views, width_px=PANEL_PX, foot_px=foot_px((PANEL_PX, 0))
    )
    shown = np.stack([_shows(studio, sheet.marks, view) for view in views])
    panels = []
    for number, view in enumerate(views):
        frame = fitted_frame(
            studio.points_mm(),
            view=view,
            size_px=size,
            foot_px=foot_px(size),
            mm_per_px=scale,
        )
        drawn = studio.picture(view, size_px=size, mm_per_px=scale)
        if sheet.paint is not None:
            drawn = _painted(drawn, studio, view, frame, sheet.paint, colour)
        # a mark that no view shows is pinned in the first, hollow
        hidden = np.array([len(t) > 0 and number == 0 for t in pinned], np.bool_)
        hidden &= ~shown.any(axis=0)
        panels.append(_marked(drawn, studio, view, frame, sheet.marks, shown[number], hidden, turn))
    unseen = [t for t, seen in zip(pinned, shown.T, strict=True) if len(t) and not seen.any()]
    notes = list(sheet.notes)
    if unseen:
        notes.append("Hollow pins lie inside or behind and are seen from neither side.")
    return png(poster(sheet.title, sheet.facts, panels, _key(sheet), notes))


def _turned(sheet: MeshSheet, turn: Floats) -> MeshSheet:
    """The sheet with everything on it turned as its picture shows it."""
    matrix = np.eye(4)
    matrix[:3, :3] = turn
    marks = [
        replace(
            mark,
            places_mm=mark.places_mm @ turn.T,
            rings_mm=tuple(ring @ turn.T for ring in mark.rings_mm),
        )
        for mark in sheet.marks
    ]
    look_at = np.array(sheet.look_at_mm).reshape(-1, 3) @ turn.T
    return replace(sheet, mesh=sheet.mesh.moved(matrix), marks=marks, look_at_mm=look_at.tolist())


def _shows(studio: Studio, marks: Sequence[Mark], view: View) -> Flags:
    """(M,) whether a view shows one place of each mark or more."""
    assert studio.stage is not None
    points = [np.concatenate([m.places_mm, *m.rings_mm]) for m in marks]
    return np.array([bool(visible(studio.stage, p, view).any()) for p in points], np.bool_)


def _marked(
    drawn: Pixels,
    studio: Studio,
    view: View,
    frame: Frame,
    marks: Sequence[Mark],
    shown: Flags,
    hidden: Flags,
    turn: Floats,
) -> Pixels:
    assert studio.stage is not None
    overlay = MeshMarks(frame)
    overlay.axes(view, turn)
    badges = []
    for mark, seen, is_hidden in zip(marks, shown, hidden, strict=True):
        for ring in mark.rings_mm:
            free = visible(studio.stage, ring, view)
            overlay.ring(frame.pixels(view.flat(ring)), free)
        if not seen and not is_hidden:
            continue
        points = mark.places_mm
        free = visible(studio.stage, points, view)
        if seen and not free.any():  # only its ring is seen
            points = np.concatenate(mark.rings_mm)
            free = visible(studio.stage, points, view)
        chosen = points[free] if free.any() else points[:1]
        pixels = frame.pixels(view.flat(chosen))
        if not mark.rings_mm:
            overlay.dots(pixels[1:])
        badges.append(Badge(mark.label, (pixels[0, 0], pixels[0, 1]), mark.shape, is_hidden))
    overlay.badges(badges)
    return overlay.over(drawn)


def _painted(
    drawn: Pixels, studio: Studio, view: View, frame: Frame, paint: Paint, base: Colour
) -> Pixels:
    """The shaded picture, its colour taken from the map at what each sub-pixel sees."""
    assert studio.stage is not None
    stage, mesh = studio.stage, studio.solids[0][0]
    right, up = frame.column_mm(SAMPLES), frame.row_mm(SAMPLES)
    start = view.eye * (stage.middle_mm @ view.eye + stage.reach_mm)
    origins = (up[:, None, None] * view.up + right[None, :, None] * view.right + start).astype(
        np.float32
    )
    hits = stage.whole.first_hit(origins.reshape(-1, 3), (-view.eye).astype(np.float32))
    on = np.flatnonzero(hits["primID"] >= 0)
    face, u, v = hits["primID"][on], hits["u"][on], hits["v"][on]
    if len(paint.values) == len(mesh.faces):
        values = paint.values[face]
    else:
        corner = paint.values[mesh.faces[face]]
        values = corner[:, 0] * (1 - u - v) + corner[:, 1] * u + corner[:, 2] * v
    step = paint.ramp.steps(values)
    table = np.array(paint.ramp.colours, np.float32) / 255
    colour = np.ones((len(up) * len(right), 3), np.float32)
    colour[on] = table[step]
    rows, columns = on // len(right), on % len(right)
    apart, wide = HATCH_PX
    hatch = ((rows + columns) % apart < wide) & np.isin(step, paint.ramp.hatched)
    if paint.new is not None:
        new = paint.new[face]
        colour[on[new]] = np.array(NEW, np.float32) / 255
        dots = (rows % apart < 2 * wide // 2) & (columns % apart < 2 * wide // 2)
        hatch = np.where(new, dots, hatch)
    colour[on[hatch]] *= 0.72
    h, w = frame.size_px[1], frame.size_px[0]
    mean = colour.reshape(h, SAMPLES, w, SAMPLES, 3).mean(axis=(1, 3))
    out = drawn.copy()
    lit = 255.0 - LIFT * (255.0 - drawn[..., :3])
    covered = (mean < 1.0).any(axis=2)
    out[covered, :3] = np.rint(lit * mean)[covered]
    return out


def _key(sheet: MeshSheet) -> Key:
    rows = [(Badge(mark.label, (0.0, 0.0), mark.shape), mark.sentence) for mark in sheet.marks]
    paint = sheet.paint
    new = paint.new_words if paint and paint.new is not None and paint.new.any() else None
    return Key(tuple(rows), paint.ramp if paint else None, new)
