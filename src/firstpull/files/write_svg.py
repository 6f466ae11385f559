"""Writes a drawing as SVG that prints at full size."""

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

from firstpull.core.mesh.lines.figure import Curve
from firstpull.files.drawing import BAR_MM, TEXT_MM, TICKS_MM, Drawing, Layer, one_line, plain

DIGITS = 4  # a tenth of a micrometre
LINE_MM = 0.25


def write_svg(path: str | Path, drawing: Drawing) -> None:
    """Writes a drawing as SVG; an older file is replaced.

    Raises:
        NothingToDraw: there is no line.
        OSError: the file cannot be written.
    """
    Path(path).write_bytes(svg_bytes(drawing))


def svg_bytes(drawing: Drawing) -> bytes:
    """A drawing as SVG: one unit is one millimetre, width and height say so.

    Each layer is a group with its name as title and one path; y runs down, so that a place
    (x, y) of the drawing is at (x, -y). The same drawing gives the same bytes.

    Raises:
        NothingToDraw: there is no line.
    """
    left, bottom, wide, high = drawing.sheet_mm
    box = " ".join(_mm(v) for v in (left, -(bottom + high), wide, high))
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_mm(wide)}mm" height="{_mm(high)}mm" '
        f'viewBox="{box}">',
        f"<title>{escape(drawing.caption)}</title>",
        f'<g fill="none" stroke="#000000" stroke-width="{LINE_MM}" stroke-linejoin="round">',
        *(_layer(layer, n) for n, layer in enumerate(drawing.layers)),
        "</g>",
        *_bar(drawing),
        "</svg>",
    ]
    return ("\n".join(lines) + "\n").encode()


def _layer(layer: Layer, number: int) -> str:
    name = one_line(layer.name)
    path = " ".join(_path(curve) for curve in layer.figure.curves)
    drawn = f"<path d={quoteattr(path)}/>" if path else ""
    return f'<g id="layer-{number + 1}"><title>{escape(name)}</title>{drawn}</g>'


def _path(curve: Curve) -> str:
    spots = " L".join(f"{_mm(x)} {_mm(-y)}" for x, y in curve.flat_mm.tolist())
    return f"M{spots}{' Z' if curve.is_closed else ''}"


def _bar(drawing: Drawing) -> list[str]:
    x, y = drawing.bar_at_mm
    ticks = " ".join(f"M{_mm(x + t)} {_mm(-y)} v-2" for t in TICKS_MM)
    path = f"M{_mm(x)} {_mm(-y)} h{_mm(BAR_MM)} {ticks}"
    return [
        f'<g id="scale-bar" fill="none" stroke="#000000" stroke-width="{LINE_MM}">'
        f'<path d="{path}"/></g>',
        f'<g font-family="sans-serif" font-size="{TEXT_MM}" fill="#000000">',
        *(
            f'<text x="{_mm(tx)}" y="{_mm(-ty)}">{escape(text)}</text>'
            for tx, ty, text in drawing.notes
        ),
        "</g>",
    ]


def _mm(value: float) -> str:
    return plain(value, DIGITS)
