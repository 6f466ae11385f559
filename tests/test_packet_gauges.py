"""Fill guide and gauge sheets: true size on paper, nothing over another, every figure printed."""

from __future__ import annotations

import io
from itertools import combinations
from typing import Any

import numpy as np
import pypdf
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from firstpull.core.mesh.mesh import Mesh
from firstpull.packet.fill_views import CANDIDATES, POCKET, fill_pictures, two_views_above
from firstpull.packet.gauge_sheets import (
    GAP_MM,
    ROOM_MM,
    Paper,
    fill_page,
    gauge_pages,
    laid_out,
)
from firstpull.packet.packet import make_packet
from firstpull.packet.palette import ACCENT
from firstpull.packet.raycast import Stage

POINT_MM = 25.4 / 72  # of PDF, ISO 32000: 1/72 inch
PAPERS: tuple[Paper, ...] = ("a4", "letter")


def place(number: int, wide: float, high: float, *, rises: bool = True) -> dict[str, Any]:
    """A pocket with a card whose working edge is a shallow arch."""
    x = np.linspace(-0.5 * wide, 0.5 * wide, 25)
    edge = np.column_stack([x, 6.0 * np.cos(np.pi * x / wide) - 6.0])
    outline = [*edge.tolist(), [0.5 * wide, high - 6.0], [-0.5 * wide, high - 6.0]]
    marks = [[[a, 0.0], [a, 6.0]] for a in (0.0, -0.25 * wide, 0.25 * wide)]
    return {
        "number": number,
        "place_mm": [10.0, -20.0, 30.0 + number],
        "side": "the front (-y)",
        "depth_mm": 4.25 + number,
        "bottom_mm": 30.0 if number == 1 else 4.25 + number,
        "volume_cm3": 3.0,
        "area_cm2": 8.0,
        "pieces": [1, 2],
        "mass_g": 3.3 * number,
        "gauge": {
            "outline_mm": outline,
            "profile_mm": edge.tolist(),
            "marks_mm": marks,
            "rises": rises,
            "sentences": [f"Hold the card number {number} upright."],
        },
    }


def fill(*sizes: tuple[float, float]) -> dict[str, Any]:
    places = [place(n, *size) for n, size in enumerate(sizes, start=1)]
    return {
        "places": places,
        "rest_cm3": 0.4,
        "total_cm3": 3.0 * len(places) + 0.4,
        "how_gauges_tell": "Light under it is silicone that is missing.",
    }


def packet_of(told: dict[str, Any], *, title: str, paper: Paper = "a4") -> bytes:
    mould = {"name": "mould 1", "skin": {"fill": told}}
    job = {"name": title, "part": "half-mask"}
    return make_packet(
        {"job": job, "parts": [{"name": "half-mask", "moulds": [mould]}]}, {}, paper=paper
    )


def sheets_of(told: dict[str, Any], *, title: str, paper: Paper = "a4") -> bytes:
    """The packet's pages that tell of the fill: the guide, then the cards."""
    out = pypdf.PdfWriter()
    for page in pypdf.PdfReader(io.BytesIO(packet_of(told, title=title, paper=paper))).pages:
        text = page.extract_text()
        if "Fill guide" in text or "Profile gauges" in text:
            out.add_page(page)
    held = io.BytesIO()
    out.write(held)
    return held.getvalue()


SIZES = ((120.0, 50.0), (70.0, 62.0), (200.0, 90.0), (60.0, 40.0))


def lines_mm(pdf: bytes, page: int) -> list[np.ndarray]:
    """Each stroked or filled line of a page, in mm of paper from its lower left corner."""
    found: list[np.ndarray] = []
    now: list[tuple[float, float]] = []

    def seen(operator: bytes, arguments: Any, matrix: Any, _: Any) -> None:
        nonlocal now
        if operator in (b"m", b"l"):
            x, y = (float(v) for v in arguments)
            a, b, c, d, e, f = matrix
            now.append((a * x + c * y + e, b * x + d * y + f))
        elif operator in (b"S", b"s", b"f", b"f*", b"B", b"b", b"B*", b"n"):
            if len(now) > 1:
                found.append(np.array(now) * POINT_MM)
            now = []

    sheet = pypdf.PdfReader(io.BytesIO(pdf)).pages[page]
    sheet.extract_text(visitor_operand_before=seen)
    return found


@pytest.mark.parametrize("paper", PAPERS)
def test_cards_and_bar_are_at_true_size_on_paper(paper: Paper) -> None:
    """Read back from the pages: within 0.01 mm, the digits that a page keeps."""
    told = fill(*SIZES)
    pdf = sheets_of(told, title="Heron half-mask", paper=paper)
    pages = range(1, len(pypdf.PdfReader(io.BytesIO(pdf)).pages))
    lines = [line for n in pages for line in lines_mm(pdf, n)]
    spans = [np.ptp(line, axis=0) for line in lines]
    bars = [s for s in spans if abs(s[0] - 100.0) < 0.01 and s[1] < 0.01]
    assert len(bars) == len(pages)
    for row in told["places"]:
        want = np.array(row["gauge"]["outline_mm"])
        size = np.ptp(want, axis=0)
        like = [
            line
            for line, span in zip(lines, spans, strict=True)
            if len(line) in (len(want), len(want) + 1)
            and min(np.abs(span - size).max(), np.abs(span[::-1] - size).max()) < 0.01
        ]
        assert like, row["number"]
        # corner by corner, whichever way it lies
        drawn = like[0][: len(want)]
        np.testing.assert_allclose(
            np.linalg.norm(np.diff(drawn, axis=0), axis=1),
            np.linalg.norm(np.diff(want, axis=0), axis=1),
            atol=0.01,
        )
        assert shapely.Polygon(drawn).area == pytest.approx(shapely.Polygon(want).area, rel=1e-3)


@pytest.mark.parametrize("paper", PAPERS)
def test_cards_are_not_mirrored(paper: Paper) -> None:
    """A card keeps its turning sense on paper: counter-clockwise with y up."""
    pages = gauge_pages(fill(*SIZES), paper=paper)
    for card in (card for page in pages for card in page["cards"]):
        flat = np.array(card["outline"]) * [1.0, -1.0]
        assert shapely.Polygon(flat).exterior.is_ccw


@pytest.mark.parametrize("paper", PAPERS)
def test_no_card_lies_over_another_or_off_the_page(paper: Paper) -> None:
    pages = gauge_pages(fill(*SIZES, *SIZES), paper=paper)
    wide, high = ROOM_MM[paper]
    assert sum(len(page["cards"]) for page in pages) == 2 * len(SIZES)
    for page in pages:
        shapes = [shapely.Polygon(card["outline"]) for card in page["cards"]]
        for one, other in combinations(shapes, 2):
            assert one.distance(other) > GAP_MM
        for shape in shapes:
            left, top, right, bottom = shape.bounds
            assert left >= 0
            assert top >= 0
            assert right <= wide
            assert bottom <= high


@pytest.mark.parametrize("paper", PAPERS)
def test_every_page_has_its_paper_and_the_words_of_each_pocket(paper: Paper) -> None:
    pdf = sheets_of(fill(*SIZES), title="Heron half-mask", paper=paper)
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    size = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}[paper]  # ISO 216; ANSI Y14.1
    for page in pages:
        box = np.array([float(page.mediabox.width), float(page.mediabox.height)]) * POINT_MM
        np.testing.assert_allclose(box, size, atol=0.02)
    texts = [" ".join(page.extract_text().replace("\xa0", " ").split()) for page in pages]
    assert "12.4 cm³ of silicone in 4 places, 0.4 cm³ of it in films" in texts[0]
    assert "30.0 mm over its bottom" in texts[0]
    for n in range(1, 5):
        assert f"Hold the card number {n} upright." in texts[0]
        on_cards = " ".join(texts[1:])
        assert f"Pocket {n}" in on_cards
        assert f"{4.25 + n:.1f} mm deep" in on_cards
        assert f"{3.3 * n:.1f} g" in on_cards
    for text in texts[1:]:
        assert "Print at 100 %" in text
        assert "Profile gauges" in text


def test_pages_do_not_grow_beyond_the_sheets_that_cards_take() -> None:
    """Nothing flows over to an empty page."""
    for paper in PAPERS:
        told = fill(*SIZES)
        pdf = sheets_of(told, title="Heron half-mask", paper=paper)
        count = len(pypdf.PdfReader(io.BytesIO(pdf)).pages)
        assert count == 1 + len(gauge_pages(told, paper=paper))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(25, 200), st.floats(35, 160)), min_size=1, max_size=12),
    st.sampled_from(PAPERS),
)
def test_any_cards_that_fit_a_page_are_laid_apart(
    sizes: list[tuple[float, float]], paper: Paper
) -> None:
    """The longest and highest card there is lies on either paper, turned if it must."""
    wide, high = ROOM_MM[paper]
    boxes = []
    for (w, h), spot in zip(sizes, laid_out(sizes, room_mm=(wide, high)), strict=True):
        w, h = (h, w) if spot.turned else (w, h)
        assert spot.x_mm >= 0
        assert spot.x_mm + w <= wide + 1e-9
        assert -1e-9 <= spot.y_mm <= high - h + 1e-9
        boxes.append((spot.page, spot.x_mm, spot.y_mm, spot.x_mm + w, spot.y_mm + h))
    for a, b in combinations(boxes, 2):
        apart = a[1] >= b[3] or b[1] >= a[3] or a[2] >= b[4] or b[2] >= a[4]
        assert a[0] != b[0] or apart
    assert {box[0] for box in boxes} == set(range(1 + max(box[0] for box in boxes)))


def test_markup_in_names_comes_out_literally() -> None:
    told = fill((60.0, 40.0))
    told["places"][0]["side"] = "#panic() *bold* [x]"
    pdf = sheets_of(told, title="#let x = 1 *", paper="a4")
    text = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text()
    assert "#panic() *bold* [x]" in text
    assert "#let x = 1 *" in text


def test_the_same_fill_gives_the_same_bytes() -> None:
    pair = [packet_of(fill(*SIZES), title="Heron") for _ in range(2)]
    assert pair[0] == pair[1]


def test_without_fill_there_is_no_page_of_it() -> None:
    nothing: dict[str, Any] = {"places": [], "rest_cm3": 0.0, "total_cm3": 0.0}
    assert fill_page(nothing) is None
    assert gauge_pages(nothing) == []
    assert len(pypdf.PdfReader(io.BytesIO(sheets_of(nothing, title="Heron"))).pages) == 0


def test_a_pocket_without_a_card_is_told_all_the_same() -> None:
    told = fill((60.0, 40.0), (70.0, 40.0))
    told["places"][1]["gauge"] = None
    page = fill_page(told)
    assert page is not None
    assert [row["hold"] != "" for row in page["places"]] == [True, False]
    assert len(gauge_pages(told)[0]["cards"]) == 1


def box(low: tuple[float, ...], high: tuple[float, ...]) -> Mesh:
    corners = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], float)
    vertices = np.array(low) + corners * (np.array(high) - np.array(low))
    faces = [
        [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
        [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
    ]  # fmt: skip
    return Mesh(vertices, faces)


BLOCK = box((-50, -40, 0), (50, 40, 60))
TWO = (((50.2, 0.0, 30.0), box((50.1, -10, 20), (50.2, 10, 40))),
       ((-50.2, 0.0, 30.0), box((-50.2, -10, 20), (-50.1, 10, 40))))  # fmt: skip


def both_pockets() -> tuple[Mesh, list[tuple[float, float, float]]]:
    (at, one), (other_at, other) = TWO
    vertices = np.vstack([one.vertices_mm, other.vertices_mm])
    faces = np.vstack([one.faces, other.faces + len(one.vertices_mm)])
    return Mesh(vertices, faces), [at, other_at]


def test_pockets_on_two_sides_take_a_picture_each_from_above_the_board() -> None:
    pockets, pins = both_pockets()
    stage = Stage([BLOCK, pockets])
    first, second = two_views_above(stage, pockets, np.array(pins))
    assert first.eye[0] * second.eye[0] < -0.1
    assert all(view.elevation_deg > 0 for view in CANDIDATES)


def test_pockets_are_coloured_and_pinned_in_both_pictures() -> None:
    pockets, pins = both_pockets()
    pictures = fill_pictures(BLOCK, pockets, pins)
    assert list(pictures) == ["part-1-mould-1-fill-1", "part-1-mould-1-fill-2"]
    for data in pictures.values():
        image = np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(float)
        shade = image / np.maximum(image.max(axis=2, keepdims=True), 1)
        hue = np.array(POCKET) / max(POCKET)
        assert (np.abs(shade - hue).max(axis=2) < 0.06).sum() > 2000
        assert (np.abs(image - ACCENT).max(axis=2) < 3).sum() > 200


def test_no_pockets_are_no_pictures() -> None:
    nothing = Mesh(np.zeros((0, 3)), np.zeros((0, 3)))
    assert fill_pictures(BLOCK, nothing, []) == {}
