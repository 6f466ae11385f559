"""Drawings read back by other readers: every line is where it was, at full size."""

from __future__ import annotations

import re
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from lxml import etree

import menagerie
import shapes
from firstpull.core.mesh.lines.figure import Curve, Figure, Plane
from firstpull.core.mesh.lines.outline import outline
from firstpull.core.mesh.lines.section import section
from firstpull.files.drawing import Drawing, Layer, NothingToDraw, caption
from firstpull.files.write_dxf import dxf_bytes, write_dxf
from firstpull.files.write_svg import svg_bytes, write_svg

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def drawing() -> Drawing:
    ring = shapes.torus(50, 10, 96)
    cut = section(ring, Plane.across("z", 3.0))
    dome = section(menagerie.dome(radius_mm=30), Plane.across("y", 1.0))
    return Drawing(
        caption("Section", part="heron half-mask", planes=[cut.plane]),
        [Layer("ring", cut), Layer("Öffnung / rim", dome)],
    )


def read_svg(data: bytes) -> tuple[etree._Element, dict[str, list[tuple[np.ndarray, bool]]]]:
    """The root, and the lines of each group with y turned up again."""
    root = etree.fromstring(data)
    layers = {}
    for group in root.iter(f"{SVG}g"):
        title, path = group.find(f"{SVG}title"), group.find(f"{SVG}path")
        if title is not None:
            layers[title.text] = [] if path is None else read_path(path.get("d"))
    return root, layers


def read_path(text: str) -> list[tuple[np.ndarray, bool]]:
    lines = []
    for part in re.findall(r"M[^M]*", text):
        numbers = [float(n) for n in re.findall(r"-?[\d.]+", part)]
        lines.append((np.array(numbers).reshape(-1, 2) * [1, -1], "Z" in part))
    return lines


def unescaped(name: str) -> str:
    """Files of this release hold other characters by their number; programs show them."""
    return str(ezdxf.decode_dxf_unicode(name))


def test_svg_is_at_full_size(drawing: Drawing) -> None:
    root, layers = read_svg(svg_bytes(drawing))
    left, top, wide, high = map(float, root.get("viewBox").split())
    assert (root.get("width"), root.get("height")) == (f"{wide:.9g}mm", f"{high:.9g}mm")
    assert list(layers) == ["ring", "Öffnung / rim"]
    for layer in drawing.layers:
        for curve, (points, closed) in zip(layer.figure.curves, layers[layer.name], strict=True):
            assert closed == curve.is_closed
            assert np.abs(points - curve.flat_mm).max() <= 0.5e-4 + 1e-12
            assert (points[:, 0] >= left).all() and (points[:, 0] <= left + wide).all()
            assert (-points[:, 1] >= top).all() and (-points[:, 1] <= top + high).all()
    areas = [shapely.Polygon(p).area for p, closed in layers["ring"] if closed]
    # coordinates are rounded by 5e-5 mm at most: along the lines that is this much area
    slack = 1e-4 * drawing.layers[0].figure.length_mm
    assert areas[0] - areas[1] == pytest.approx(drawing.layers[0].figure.area_mm2, abs=slack)


def test_svg_has_a_bar_of_100_mm_and_a_caption(drawing: Drawing) -> None:
    root, _ = read_svg(svg_bytes(drawing))
    bar = root.xpath("//*[@id='scale-bar']/*")[0].get("d")
    assert re.match(r"M-?[\d.]+ -?[\d.]+ h100 ", bar)
    texts = [node.text for node in root.iter(f"{SVG}text")]
    assert texts[-1] == "Section of heron half-mask, plane z = 3 mm, seen along -z, 1:1 in mm"
    assert "100 mm" in texts[0]


def test_dxf_is_read_without_a_complaint(drawing: Drawing, tmp_path: Path) -> None:
    write_dxf(tmp_path / "ring.dxf", drawing)
    document = ezdxf.readfile(tmp_path / "ring.dxf")
    audit = document.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    assert document.dxfversion == "AC1015"
    assert document.units == ezdxf.units.MM and document.header["$MEASUREMENT"] == 1
    names = {unescaped(layer.dxf.name) for layer in document.layers}
    assert {"0", "ring", "Öffnung _ rim", "scale-bar"} <= names


def test_dxf_lines_are_where_they_were(drawing: Drawing, tmp_path: Path) -> None:
    write_dxf(tmp_path / "ring.dxf", drawing)
    space = ezdxf.readfile(tmp_path / "ring.dxf").modelspace()
    for name, layer in zip(("ring", "Öffnung _ rim"), drawing.layers, strict=True):
        lines = [e for e in space.query("LWPOLYLINE") if unescaped(e.dxf.layer) == name]
        for curve, line in zip(layer.figure.curves, lines, strict=True):
            assert line.closed == curve.is_closed
            points = np.array(list(line.vertices()))
            assert np.abs(points - curve.flat_mm).max() <= 0.5e-6 + 1e-12
    bar = next(e for e in space.query("LWPOLYLINE") if e.dxf.layer == "scale-bar")
    (x, y), (far, level) = bar.vertices()
    assert (far - x, level - y) == (pytest.approx(100.0, abs=2e-6), 0.0)
    assert space.query("TEXT")[-1].dxf.text == drawing.caption


def test_the_same_drawing_gives_the_same_bytes(drawing: Drawing, tmp_path: Path) -> None:
    again = Drawing(drawing.caption, list(drawing.layers))
    assert svg_bytes(drawing) == svg_bytes(again) and dxf_bytes(drawing) == dxf_bytes(again)
    write_svg(tmp_path / "ring.svg", drawing)
    assert (tmp_path / "ring.svg").read_bytes() == svg_bytes(drawing)


def test_an_outline_keeps_its_hole(tmp_path: Path) -> None:
    seen = outline(shapes.torus(50, 10, 96), [0, -1, 1])
    drawing = Drawing("Outline", [Layer("outline", seen)])
    write_dxf(tmp_path / "o.dxf", drawing)
    lines = ezdxf.readfile(tmp_path / "o.dxf").modelspace().query("LWPOLYLINE[layer=='outline']")
    areas = [shapely.Polygon(list(line.vertices())).area for line in lines]
    assert areas[0] - areas[1] == pytest.approx(seen.area_mm2, abs=2e-6 * seen.length_mm)


def test_hostile_names_harm_neither_file(tmp_path: Path) -> None:
    square = np.array([[0.0, 0], [1, 0], [1, 1]])
    figure = Figure(Plane.across("z"), (Curve(np.zeros((3, 3)), square, True),))
    names = ['a<b>&"c"\n0\nSECTION', "", "RING", "ring", "鷺" * 300]
    drawing = Drawing("two\nlines & <more>", [Layer(name, figure) for name in names])
    root, layers = read_svg(svg_bytes(drawing))
    assert root.find(f"{SVG}title").text == "two lines & <more>"
    assert 'a<b>&"c" 0 SECTION' in layers
    write_dxf(tmp_path / "n.dxf", drawing)
    document = ezdxf.readfile(tmp_path / "n.dxf")
    assert not document.audit().has_issues
    assert len(document.modelspace().query("LWPOLYLINE")) == 5 + 4
    assert document.modelspace().query("TEXT")[-1].dxf.text == "two lines & <more>"


def test_a_caption_tells_the_plane() -> None:
    front = caption("Outline", part="horn", planes=[Plane([0, 7, 0], [0, -1, 0])])
    assert "plane y = 7 mm, seen along y," in front
    slanting = caption("Section", part="horn", planes=[Plane([1, 2, 3], [1, 1, 0])])
    assert "plane through 1.0, 2.0, 3.0 mm, square to 0.707, 0.707, 0.000," in slanting


def test_a_drawing_without_lines_is_refused(tmp_path: Path) -> None:
    empty = section(menagerie.box(), Plane.across("z", 99))
    drawing = Drawing("Section", [Layer("cut", empty)])
    for write in (write_svg, write_dxf):
        with pytest.raises(NothingToDraw, match="Move the plane into the part"):
            write(tmp_path / "none", drawing)
    assert not list(tmp_path.iterdir())
