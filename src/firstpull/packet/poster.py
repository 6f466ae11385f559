"""Title, pictures side by side, key and notes, laid out on one sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from firstpull.packet.mesh_marks import Badge, draw_badge
from firstpull.packet.overlay import font
from firstpull.packet.palette import INK, PAPER
from firstpull.packet.ramps import NEW, Ramp

MARGIN = 44
GAP = 24
TITLE, TEXT, SMALL = 46, 27, 24
LINE = 36
BADGE_UNIT = 1.45
BOX = (116, 34)  # of a step in the key


@dataclass(frozen=True)
class Key:
    """What the marks and colours mean.

    Args:
        rows: a badge and a sentence each.
        ramp: of the map, or None.
        new: what surface in the colour for new is called, or None where there is none.
    """

    rows: tuple[tuple[Badge, str], ...]
    ramp: Ramp | None
    new: str | None


def poster(
    title: str,
    facts: str,
    panels: Sequence[NDArray[np.uint8]],
    key: Key,
    notes: Sequence[str],
) -> NDArray[np.uint8]:
    """(h, w, 4) the sheet; as wide as the panels, as high as the key needs."""
    wide = sum(p.shape[1] for p in panels) + GAP * (len(panels) - 1) + 2 * MARGIN
    high = 2 * MARGIN + 120 + max(p.shape[0] for p in panels) + 200
    room = wide - 2 * MARGIN
    rows = [(badge, _wrapped(text, room - 64, TEXT)) for badge, text in key.rows]
    foot = [_wrapped(text, room, SMALL) for text in notes]
    high += sum(len(lines) * LINE + 10 for _, lines in rows)
    high += sum(len(lines) * LINE + 6 for lines in foot)
    image = Image.new("RGBA", (wide, high), (*PAPER, 255))
    draw = ImageDraw.Draw(image)
    y = MARGIN
    for lines, size, weight in (
        ([title], TITLE, "SemiBold"),
        (_wrapped(facts, room, TEXT), TEXT, "Regular"),
    ):
        for line in lines:
            draw.text((MARGIN, y), line, fill=INK, font=font(size, weight))
            y += round(1.3 * size)
    draw.line([(MARGIN, y + 8), (wide - MARGIN, y + 8)], fill=INK, width=2)
    y += 24
    x = MARGIN
    for panel in panels:
        image.paste(Image.fromarray(panel, "RGBA"), (x, y))
        x += panel.shape[1] + GAP
    y += max(p.shape[0] for p in panels) + 20
    if key.ramp is not None:
        y = _ramp(draw, key.ramp, key.new, y, room)
    for badge, lines in rows:
        draw_badge(draw, np.array([MARGIN + 22.0, y + LINE / 2]), badge, BADGE_UNIT)
        y = _lines(draw, lines, MARGIN + 64, y, TEXT) + 10
    for lines in foot:
        y = _lines(draw, lines, MARGIN, y, SMALL) + 6
    return np.asarray(image.crop((0, 0, wide, min(y + MARGIN, high))))


def _ramp(draw: ImageDraw.ImageDraw, ramp: Ramp, new: str | None, y: int, room: int) -> int:
    """The steps in a row, the value between two under their border; returns the next y."""
    wide, high = BOX
    draw.text(
        (MARGIN, y + high / 2), ramp.title, fill=INK, font=font(TEXT, "SemiBold"), anchor="lm"
    )
    x = MARGIN + round(font(TEXT, "SemiBold").getlength(ramp.title)) + 28
    first = x
    for step, colour in enumerate(ramp.colours):
        box = (x, y, x + wide, y + high)
        draw.rectangle(box, fill=colour, outline=INK, width=2)
        if step in ramp.hatched:
            _hatched(draw, box, colour)
        if step < len(ramp.edges):
            words = f"{ramp.edges[step]:+.3g}" if ramp.edges[0] < 0 else f"{ramp.edges[step]:.3g}"
            draw.text(
                (x + wide, y + high + 6), words, fill=INK, font=font(SMALL, "Regular"), anchor="ma"
            )
        x += wide
    low, high_word = ramp.ends
    under = y + high + 6
    draw.text((first, under), low, fill=INK, font=font(SMALL, "Regular"), anchor="la")
    draw.text((x, under), high_word, fill=INK, font=font(SMALL, "Regular"), anchor="ra")
    if new is not None:
        x += 48
        draw.rectangle((x, y, x + wide, y + high), fill=NEW, outline=INK, width=2)
        for dx in range(8, wide - 4, 11):
            for dy in range(8, high - 4, 11):
                draw.rectangle((x + dx, y + dy, x + dx + 2, y + dy + 2), fill=_darker(NEW))
        draw.text(
            (x + wide + 14, y + high / 2), new, fill=INK, font=font(TEXT, "Regular"), anchor="lm"
        )
    return y + high + 52


def _hatched(
    draw: ImageDraw.ImageDraw, box: tuple[int, int, int, int], colour: tuple[int, ...]
) -> None:
    left, top, right, bottom = box
    high = bottom - top
    for start in range(left - high + 6, right, 9):
        a, b = max(start, left + 2), min(start + high, right - 2)
        if a < b:
            draw.line(
                [(a, bottom - (a - start) - 2), (b, bottom - (b - start) + 2)],
                fill=_darker(colour),
                width=2,
            )
    draw.rectangle(box, outline=INK, width=2)


def _darker(colour: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(round(0.72 * c) for c in colour)


def _lines(draw: ImageDraw.ImageDraw, lines: Sequence[str], x: int, y: int, size: int) -> int:
    for line in lines:
        draw.text((x, y + LINE / 2), line, fill=INK, font=font(size, "Regular"), anchor="lm")
        y += LINE
    return y


def _wrapped(text: str, room: int, size: int) -> list[str]:
    """A text in lines no wider than the room; a word that is wider stands by itself."""
    face = font(size, "Regular")
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and face.getlength(longer) > room:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines
