"""The skin with its filled pockets in colour and numbered, from the two sides that show most."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.packet.album import picture_key
from firstpull.packet.camera import View, fitted_frame, fitted_size
from firstpull.packet.mesh_marks import Badge, MeshMarks
from firstpull.packet.mesh_views import visible
from firstpull.packet.overlay import foot_px
from firstpull.packet.palette import SILICONE, Colour
from firstpull.packet.pictures import Studio, png
from firstpull.packet.raycast import Stage

PANEL_PX = 880
LARGER = 1.35  # pins than elsewhere: on a page the two pictures stand side by side
SEEN_FACES = 3000  # of the pockets' triangles, that a view is chosen by
POCKET: Colour = (214, 104, 52)
"""The accent, lighter: pins in the accent itself stand out on it."""
CANDIDATES = tuple(
    View("", float(azimuth), elevation)
    for elevation in (20.0, 40.0, 8.0)
    for azimuth in (-60, -120, 60, 120, -90, 90, 0, 180, -30, 30, -150, 150)
)


def fill_pictures(
    skin: Mesh,
    pockets: Mesh,
    places_mm: Sequence[Sequence[float]],
    *,
    part: int = 1,
    mould: int = 1,
) -> dict[str, bytes]:
    """Two PNG pictures, ``fill-1`` and ``fill-2``, by the names of ``picture_key``.

    Args:
        skin, pockets: the outside of the filled skin, mould frame, in two open surfaces.
        places_mm: the deepest point of each pocket, for its pin.

    Both look from above the board. A pin that neither side shows is drawn hollow in the first.
    Without pockets there is no picture.
    """
    if not len(places_mm):
        return {}
    studio = Studio([(skin, SILICONE), (pockets, POCKET)])
    assert studio.stage is not None, "a filled skin has faces"
    pins = np.array(places_mm, float).reshape(-1, 3)
    views = two_views_above(studio.stage, pockets, pins)
    size, scale = fitted_size(
        studio.points_mm(), views=views, width_px=PANEL_PX, foot_px=foot_px((PANEL_PX, 0))
    )
    seen = np.stack([visible(studio.stage, pins, view) for view in views])
    unseen = np.asarray(~seen.any(axis=0), dtype=np.bool_)
    pictures = {}
    for number, view in enumerate(views):
        hidden = unseen if number == 0 else np.zeros_like(unseen)
        drawn = _panel(studio, view, pins, seen[number], hidden, size, scale)
        pictures[picture_key(part, f"fill-{number + 1}", mould=mould)] = png(drawn)
    return pictures


def two_views_above(stage: Stage, pockets: Mesh, pins: Floats) -> tuple[View, View]:
    """The view from above the board that shows most, and the one that adds most to it.

    A pin that is seen counts as much as a quarter of all the pockets' surface.
    """
    picked = slice(None, None, 1 + len(pockets.faces) // SEEN_FACES)
    middles, areas = pockets.face_centres_mm[picked], pockets.face_areas_mm2[picked]
    worth = np.concatenate([areas / max(float(areas.sum()), 1e-9), np.full(len(pins), 0.25)])
    spots = np.concatenate([middles, pins])
    shown = np.stack([visible(stage, spots, view) for view in CANDIDATES])
    # what is turned to the eye is seen best; a pin counts in full unless it is seen edge on
    eyes = np.array([view.eye for view in CANDIDATES])
    turned = np.clip(pockets.face_normals[picked] @ eyes.T, 0.0, 1.0).T
    nearest = [int(np.argmin(np.linalg.norm(middles - pin, axis=1))) for pin in pins]
    clear = shown * np.concatenate([turned, np.minimum(2.0 * turned[:, nearest], 1.0)], axis=1)
    first = int(np.argmax(clear @ worth))
    second = int(np.argmax(np.maximum(clear - clear[first], 0.0) @ worth))
    if second == first:  # all is seen already: from the other side
        second = int(np.argmin(eyes @ eyes[first]))
    return CANDIDATES[first], CANDIDATES[second]


def _panel(
    studio: Studio,
    view: View,
    pins: Floats,
    seen: NDArray[np.bool_],
    hidden: NDArray[np.bool_],
    size: tuple[int, int],
    scale: float,
) -> NDArray[np.uint8]:
    frame = fitted_frame(
        studio.points_mm(), view=view, size_px=size, foot_px=foot_px(size), mm_per_px=scale
    )
    drawn = studio.picture(view, size_px=size, mm_per_px=scale)
    overlay = MeshMarks(frame)
    overlay.unit *= LARGER
    overlay.axes(view, np.eye(3))
    pixels = frame.pixels(view.flat(pins))
    overlay.badges(
        [
            Badge(str(n + 1), (float(pixels[n, 0]), float(pixels[n, 1])), hidden=bool(hidden[n]))
            for n in range(len(pins))
            if seen[n] or hidden[n]
        ]
    )
    return overlay.over(drawn)
