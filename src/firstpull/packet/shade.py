"""From hits to ink: light, thin lines, hatched cut faces, and the averaged picture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.packet.camera import Frame, View
from firstpull.packet.palette import HATCH, INK, PAPER, Colour
from firstpull.packet.raycast import Floats32, Hits

CREASE_COS = 0.82  # 35 degrees between neighbouring pixels draws a line
BEHIND_CUT = 0.45  # what lies behind a cut is faded this much toward paper


def shaded(
    hits: Hits, *, colours: Sequence[Colour], view: View, openness: Floats32, samples: int
) -> Floats32:
    """(H, W, 3) colours 0 to 1 on the sub-pixel grid: key light, sky and ambient shade."""
    table = np.array([PAPER, *colours], np.float32) / 255
    base = table[hits.solid + 1]
    key = (0.55 * view.eye - 0.45 * view.right + 0.75 * view.up).astype(np.float32)
    key /= np.linalg.norm(key)
    lit = np.clip(hits.normal @ key, 0, 1)
    sky = 0.5 + 0.5 * (hits.normal @ np.float32([0, 0, 1]))
    open_sky = openness.repeat(samples, axis=0).repeat(samples, axis=1)
    shade = 0.36 + 0.64 * open_sky
    light = 0.52 * lit * (0.4 + 0.6 * open_sky) + (0.44 + 0.14 * sky) * shade
    picture = np.clip(base * light[..., None] * np.float32(1.04), 0, 1)
    if hits.cut.any():
        picture += (1 - picture) * np.float32(BEHIND_CUT) * ~hits.cut[..., None]
        picture[hits.cut] = base[hits.cut]
        _hatch(picture, hits, colours)
    picture[hits.solid < 0] = 1.0
    return picture


def _hatch(picture: Floats32, hits: Hits, colours: Sequence[Colour]) -> None:
    rows, columns = np.indices(hits.cut.shape, sparse=True)
    lines = (rows + columns) % 14 < 2
    dots = ((rows % 14) // 3 == 0) & (((columns + (rows // 14 % 2) * 7) % 14) // 3 == 0)
    for index, colour in enumerate(colours):
        pattern = {"lines": lines, "dots": dots}.get(HATCH.get(colour, "none"))
        if pattern is not None:
            picture[hits.cut & (hits.solid == index) & pattern] *= np.float32(0.62)


def inked(picture: Floats32, hits: Hits, *, frame: Frame, samples: int) -> None:
    """Draw outlines, steps in depth and creases into the picture, on the nearer side."""
    step_mm = max(7 * frame.mm_per_px / samples, 0.008 * frame.mm_per_px * frame.size_px[0])
    outline, crease = _edges(hits, step_mm)
    strong = _grown(outline, hits)
    ink = np.array(INK, np.float32) / 255
    for mask, share in ((crease & ~strong, 0.45), (strong, 0.88)):
        share32 = np.float32(share)
        picture[mask] = picture[mask] * (1 - share32) + ink * share32


def _edges(hits: Hits, step_mm: float) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    outline = np.zeros(hits.solid.shape, bool)
    crease = np.zeros(hits.solid.shape, bool)
    far = np.float32(1e9)
    depth = np.where(np.isfinite(hits.depth), hits.depth, far)
    for axis in (0, 1):
        one, two = _pair(axis)
        differ = (hits.solid[one] != hits.solid[two]) | (hits.cut[one] != hits.cut[two])
        jump = differ | (_bend(depth, axis) > step_mm)
        nearer = depth[one] <= depth[two]
        outline[one] |= jump & nearer
        outline[two] |= jump & ~nearer
        turn = np.einsum("ijk,ijk->ij", hits.normal[one], hits.normal[two]) < CREASE_COS
        crease[one] |= turn & ~jump
    on = hits.solid >= 0
    return outline & on, crease & on


def _pair(axis: int) -> tuple[Any, Any]:
    if axis == 0:
        return np.s_[:-1, :], np.s_[1:, :]
    return np.s_[:, :-1], np.s_[:, 1:]


def _bend(depth: Floats32, axis: int) -> Floats32:
    """How far the step between neighbours departs from the slope on either side of it."""
    step = np.diff(depth, axis=axis)
    before = np.roll(step, 1, axis)
    after = np.roll(step, -1, axis)
    return np.minimum(np.abs(step - before), np.abs(step - after))


def _grown(mask: NDArray[np.bool_], hits: Hits) -> NDArray[np.bool_]:
    """The lines one sub-pixel wider, never outside the solids."""
    wide = mask.copy()
    wide[1:, :] |= mask[:-1, :]
    wide[:, 1:] |= mask[:, :-1]
    return wide & (hits.solid >= 0)


def averaged(picture: Floats32, hits: Hits, *, samples: int, background: str) -> NDArray[np.uint8]:
    """(h, w, 4) RGBA: the sub-pixels of each pixel averaged; alpha is the covered share."""
    h, w = hits.solid.shape[0] // samples, hits.solid.shape[1] // samples
    cover = (hits.solid >= 0).astype(np.float32)
    alpha = cover.reshape(h, samples, w, samples).mean(axis=(1, 3))
    if background == "white":
        colour = picture.reshape(h, samples, w, samples, 3).mean(axis=(1, 3))
        alpha = np.ones_like(alpha)
    else:
        weighted = picture * cover[..., None]
        colour = weighted.reshape(h, samples, w, samples, 3).mean(axis=(1, 3))
        colour /= np.maximum(alpha, 1e-6)[..., None]
    out = np.concatenate([colour, alpha[..., None]], axis=2)
    return np.round(np.clip(out, 0, 1) * 255).astype(np.uint8)
