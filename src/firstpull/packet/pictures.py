"""Pictures of solids, cast by rays: no display is needed, and they print well in grey."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.packet.camera import Frame, View, fitted_frame
from firstpull.packet.overlay import Arrow, Overlay, Pin, foot_px
from firstpull.packet.palette import Colour
from firstpull.packet.raycast import Plane, Stage
from firstpull.packet.shade import averaged, inked, shaded

SAMPLES = 2  # sub-pixels along each side of a pixel
FRAME_POINTS = 20_000  # of a solid: what lies between them is within the picture's margin
SKY_RAYS = 12  # directions per place; 16 neighbouring pixels share out 16 times as many

Solid = tuple[Mesh, Colour]


class Studio:
    """Solids set up once, to be pictured from many sides.

    Args:
        solids: (mesh, colour) pairs; in a section, where two claim a place the first wins.
    """

    def __init__(self, solids: Sequence[Solid]) -> None:
        self.solids = [(m, c) for m, c in solids if len(m.faces)]
        self.stage = Stage([m for m, _ in self.solids]) if self.solids else None
        self._last: tuple[object, NDArray[np.uint8]] | None = None

    def points_mm(self, cut: Plane | None = None) -> list[Floats]:
        """Vertices of each solid that a cut leaves, enough of them for fitting a frame."""
        every = [m.vertices_mm[:: 1 + len(m.vertices_mm) // FRAME_POINTS] for m, _ in self.solids]
        if cut is None:
            return every
        left = [p[(p - np.asarray(cut.point_mm)) @ np.asarray(cut.normal) <= 1e-6] for p in every]
        return left if any(len(p) for p in left) else every

    def picture(
        self,
        view: View,
        *,
        size_px: tuple[int, int] = (900, 700),
        mm_per_px: float | None = None,
        cut: Plane | None = None,
        places_mm: Sequence[tuple[str, Sequence[float]]] = (),
        arrows: Sequence[Arrow] = (),
        scale_bar: bool = True,
        background: str = "white",
    ) -> NDArray[np.uint8]:
        """(h, w, 4) RGBA picture.

        Args:
            view: the direction to look from.
            size_px: (width, height).
            mm_per_px: a scale to share with other pictures; None fits as large as possible.
            cut: what lies on the side of its normal is taken away and the cut faces filled;
                the view must look against that normal.
            places_mm: (label, (x, y, z)) pairs to pin.
            arrows: ways to draw as arrows.
            scale_bar: whether a scale bar is drawn.
            background: "white", or "clear" for transparent.

        No solids at all give an empty picture.
        """
        if self.stage is None:
            return _blank(size_px, background)
        foot = foot_px(size_px) if scale_bar else 0
        frame = fitted_frame(
            self.points_mm(cut), view=view, size_px=size_px, foot_px=foot, mm_per_px=mm_per_px
        )
        picture = self._unmarked(view, frame, cut, background)
        overlay = Overlay(frame)
        for arrow in arrows:
            ends = frame.pixels(view.flat(np.stack([arrow.tail_mm, arrow.head_mm])))
            overlay.arrow(ends[0], ends[1])
        overlay.pins(self._pins(places_mm, view, frame))
        if scale_bar:
            overlay.scale_bar()
        return overlay.over(picture)

    def _unmarked(
        self, view: View, frame: Frame, cut: Plane | None, background: str
    ) -> NDArray[np.uint8]:
        """The solids without marks; the last one is kept, to be marked in another way."""
        key = (view, frame, cut, background)
        if self._last is None or self._last[0] != key:
            self._last = (key, self._cast(view, frame, cut, background))
        return self._last[1]

    def _cast(
        self, view: View, frame: Frame, cut: Plane | None, background: str
    ) -> NDArray[np.uint8]:
        assert self.stage is not None
        hits = self.stage.look(view=view, frame=frame, samples=SAMPLES, cut=cut)
        if cut is None:
            openness = self.stage.openness(
                hits, view=view, frame=frame, samples=SAMPLES, rays=SKY_RAYS
            )
        else:  # behind a cut all is faded: shade would not be seen, its scene costs time
            openness = np.ones((frame.size_px[1], frame.size_px[0]), np.float32)
        colours = [c for _, c in self.solids]
        fine = shaded(hits, colours=colours, view=view, openness=openness, samples=SAMPLES)
        inked(fine, hits, frame=frame, samples=SAMPLES)
        return averaged(fine, hits, samples=SAMPLES, background=background)

    def _pins(
        self, places_mm: Sequence[tuple[str, Sequence[float]]], view: View, frame: Frame
    ) -> list[Pin]:
        if not places_mm or self.stage is None:
            return []
        points = np.array([p for _, p in places_mm], float).reshape(-1, 3)
        # Start a little outside: the place itself lies on the surface.
        start = points + view.eye * 0.01 * self.stage.reach_mm
        ways = np.broadcast_to(view.eye, points.shape)
        hidden = self.stage.whole.blocked(
            start.astype(np.float32), ways.astype(np.float32), 4 * self.stage.reach_mm
        )
        pixels = frame.pixels(view.flat(points))
        return [
            Pin(label, (float(x), float(y)), bool(h))
            for (label, _), (x, y), h in zip(places_mm, pixels, hidden, strict=True)
        ]


def draw(
    solids: Sequence[Solid],
    *,
    view: View,
    size_px: tuple[int, int] = (900, 700),
    cut: Plane | None = None,
    places_mm: Sequence[tuple[str, Sequence[float]]] = (),
    arrows: Sequence[Arrow] = (),
    background: str = "white",
) -> bytes:
    """One picture as PNG bytes; `Studio` is cheaper where many are wanted."""
    return png(
        Studio(solids).picture(
            view,
            size_px=size_px,
            cut=cut,
            places_mm=places_mm,
            arrows=arrows,
            background=background,
        )
    )


def png(picture: NDArray[np.uint8]) -> bytes:
    """The picture as a PNG file, without time stamp: the same picture gives the same bytes."""
    image = Image.fromarray(picture, "RGBA")
    if (picture[..., 3] == 255).all():
        image = image.convert("RGB")
    out = io.BytesIO()
    image.save(out, format="PNG", compress_level=6)
    return out.getvalue()


def _blank(size_px: tuple[int, int], background: str) -> NDArray[np.uint8]:
    fill = 255 if background == "white" else 0
    return np.full((size_px[1], size_px[0], 4), fill, np.uint8)
