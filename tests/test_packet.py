"""The packet says what the plan says, on both papers, literally and reproducibly.

Golden text: `FIRSTPULL_REWRITE=1 pytest tests/test_packet.py` writes it anew; read the diff.
"""

from __future__ import annotations

import io
import os
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest

from firstpull.packet.format import grams, scale_figure
from firstpull.packet.moulding import mould_page
from firstpull.packet.packet import make_packet, page_data
from firstpull.packet.pictures import png
from sample_plan import FINDINGS, sample_plan, silicone_coat

GOLDEN = Path(__file__).parent / "golden"
POINTS = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}  # ISO 216; 8.5 x 11 inches
VIEWS = ("front", "right", "back", "left", "exploded", "section", "fill-1", "fill-2")


def blank_pictures() -> dict[str, bytes]:
    """Small grey pictures under every name; what they show is tested elsewhere."""
    grey = np.full((60, 80, 4), 200, np.uint8)
    grey[..., 3] = 255
    names = ["part-1-hero", "part-1-findings", *(f"part-1-mould-1-{v}" for v in VIEWS)]
    return {name: png(grey) for name in names}


def texts(plan: dict[str, Any], **options: Any) -> list[str]:
    """The text of each page."""
    pdf = make_packet(plan, blank_pictures(), **options)
    return [_even(p.extract_text()) for p in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def _even(text: str) -> str:
    lines = (" ".join(line.replace("\N{NO-BREAK SPACE}", " ").split()) for line in text.split("\n"))
    return "\n".join(line for line in lines if line)


def one_line(pages: list[str]) -> str:
    return " ".join(" ".join(pages).split())


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_pages_read_as_reviewed(paper: str) -> None:
    """Golden text, page by page."""
    said = "".join(
        f"=== page {n}\n{text}\n" for n, text in enumerate(texts(sample_plan(), paper=paper), 1)
    )
    kept = GOLDEN / f"packet-{paper}.txt"
    if os.environ.get("FIRSTPULL_REWRITE"):
        kept.parent.mkdir(exist_ok=True)
        kept.write_text(said, encoding="utf-8")
    assert said == kept.read_text(encoding="utf-8")


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_page_has_the_size_of_its_paper_and_its_number(paper: str) -> None:
    pdf = pypdf.PdfReader(io.BytesIO(make_packet(sample_plan(), {}, paper=paper)))
    for number, page in enumerate(pdf.pages, 1):
        size = (float(page.mediabox.width), float(page.mediabox.height))
        assert size == pytest.approx(POINTS[paper], abs=0.1)
        assert f"page {number} of {len(pdf.pages)}" in page.extract_text()


def test_the_same_plan_gives_the_same_bytes() -> None:
    one = make_packet(sample_plan(), blank_pictures())
    assert one == make_packet(sample_plan(), blank_pictures())
    assert b"/CreationDate" not in one


def test_page_one_answers_the_first_questions() -> None:
    first = texts(sample_plan())[0]
    plan = sample_plan()
    part = plan["parts"][0]
    assert "155 × 182 × 66" in first  # size as cast
    assert "mended" in first and "3 findings" in first
    assert "482" in first and "447 – 521 g" in first  # silicone
    for key in ("p10", "p50", "p90"):
        assert scale_figure(part["cast"]["pull_mass_g"][key]) in first
    assert "castings to make\n9\nfor 6 good" in first
    assert "Fill under the beak is 21.5 cm³" in first


def test_every_target_on_the_bench_pages_is_that_of_the_plan() -> None:
    """Grams and millilitres of each cup, coat by coat, in the order of the plan."""
    plan = sample_plan()
    part = plan["parts"][0]
    pages = texts(plan)
    for title, coats in (
        ("Silicone, coat by coat", part["moulds"][0]["coats"]),
        ("Resin, coat by coat", part["cast"]["coats"]),
    ):
        start = next(n for n, text in enumerate(pages) if title in text)
        said = one_line(pages[start : start + 2])
        for number, coat in enumerate(coats, 1):
            mine = said[said.index(f"{number} {coat['name']}") :]
            cup = coat["batches"][0]
            for key in ("a_g", "b_g"):
                assert f"{scale_figure(cup[key])} g" in mine
            for key in ("a_ml", "b_ml"):
                assert f"{scale_figure(cup[key])} ml" in mine
            if cup.get("powder_g"):
                assert f"powder {grams(cup['powder_g'])}" in mine
            if len(coat["batches"]) > 1:
                assert f"{len(coat['batches'])} ×" in mine
            assert grams(coat["waste_g"]) in mine
            assert coat["basis"] in said


def test_every_assumption_finding_step_item_and_caution_is_printed() -> None:
    plan = sample_plan()
    said = one_line(texts(plan))
    for entry in plan["assumed"]:
        assert entry["why"] in said
    for found in plan["parts"][0]["master"]["findings"]:
        assert found["sentence"] in said and found["next_step"] in said
    for step in plan["steps"]:
        assert step["title"] in said
        for caution in step["cautions"]:
            assert caution in said
    for item in plan["shopping"]:
        assert item["item"] in said
    for caution in plan["cautions"]:
        assert caution["title"] in said
    assert "Local rules and each product's own safety data sheet come first." in said


def test_markup_in_names_comes_out_literally() -> None:
    """Nothing a person writes is taken for markup, code or a path."""
    nasty = r'#panic("x") *b* _i_ $x$ <tag> @ref \n `r` [c] = h // "q"'
    plan = sample_plan()
    plan["job"]["name"] = nasty
    plan["parts"][0]["name"] = "#image(*) $"
    plan["warnings"] = [nasty]
    plan["assumed"][0]["value"] = nasty
    said = one_line(texts(plan))
    # The template's smart quotes do not reach data: the text is a string, set as it is.
    assert said.count(nasty) >= 3
    assert "#image(*) $" in said


def test_an_empty_plan_still_gives_pages() -> None:
    for plan in ({}, {"parts": [{}]}, {"parts": [{"moulds": [{}], "cast": {}}]}):
        assert len(texts(plan)) >= 1


def test_a_plan_without_pictures_keeps_its_figures() -> None:
    pdf = make_packet(sample_plan(), {})
    text = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text()
    assert "weight of the pull" in text


def test_no_findings_say_so_and_forty_are_all_listed() -> None:
    plan = sample_plan()
    plan["parts"][0]["master"]["findings"] = []
    assert "nothing was found" in one_line(texts(plan))
    plan["parts"][0]["master"]["findings"] = [
        {**FINDINGS[n % 3], "sentence": f"Finding number {n} of many."} for n in range(40)
    ]
    said = one_line(texts(plan))
    assert all(f"Finding number {n} of many." in said for n in range(40))


@pytest.mark.parametrize("count", [1, 12])
def test_any_number_of_coats_is_printed_whole(count: int) -> None:
    """Each coat keeps its heading, figures and blanks on one page."""
    plan = sample_plan()
    coats = [silicone_coat(f"layer no. {n}", 30.0 + n, 1.0, 1 + n % 3) for n in range(count)]
    plan["parts"][0]["moulds"][0]["coats"] = coats
    pages = texts(plan)
    for coat in coats:
        page = next(p for p in pages if coat["name"] in p)
        mine = " ".join(page[page.index(coat["name"]) :].split())
        assert f"{scale_figure(coat['batches'][0]['a_g'])} g" in mine
        assert "stirred at" in mine


def test_a_very_long_job_name_stays_on_the_page() -> None:
    """The title wraps; header and mould card shorten it."""
    plan = sample_plan()
    plan["job"]["name"] = "A heron with a remarkably long name " * 9
    data = page_data(plan, {})
    assert len(data["job_short"]) <= 64 and data["job_pt"] < 20
    first = " ".join(texts(plan)[0].split())
    assert plan["job"]["name"].strip() in first
    assert "weight of the pull" in first


def test_cups_of_unequal_size_are_each_shown() -> None:
    plan = sample_plan()
    coat = plan["parts"][0]["moulds"][0]["coats"][0]
    coat["batches"] = [{**coat["batches"][0], "a_g": 123.4}, {**coat["batches"][0], "a_g": 77.7}]
    said = one_line(texts(plan))
    assert "123 g" in said and "77.7 g" in said


def test_a_failed_proof_cannot_be_overlooked() -> None:
    plan = sample_plan()
    proof = plan["parts"][0]["moulds"][0]["proof"]
    proof["passed"] = proof["checks"][0]["passed"] = False
    pages = texts(plan)
    assert "fails" in pages[0]
    assert "do not build this shell" in one_line(pages)


def test_two_parts_have_their_own_pages() -> None:
    plan = sample_plan()
    horn = sample_plan()["parts"][0]
    horn["name"] = "left horn"
    plan["parts"].append(horn)
    said = texts(plan)
    assert sum("left horn" in p for p in said) > 4
    assert sum("What this rests on" in p for p in said) == 2


def test_routine_checks_that_hold_share_a_line_and_a_failing_one_is_told() -> None:
    plan = sample_plan()
    mould = plan["parts"][0]["moulds"][0]
    held = {"passed": True, "found": -0.0, "limit": 0.05, "where_mm": None}
    mould["proof"] = {
        "passed": False,
        "checks": [
            {**held, "name": "solid: body", "sentence": "The body is one closed solid."},
            {**held, "name": "solid: skin", "sentence": "The skin is one closed solid."},
            {**held, "name": "solid: piece 1", "passed": False, "sentence": "Piece 1 is open."},
        ],
    }
    rows = mould_page(mould)["proof"]["checks"]
    assert [row["sentence"] for row in rows] == ["Body; skin.", "Piece 1 is open."]
    assert [row["found"] for row in rows] == ["2 of 2", "no fault"]


def test_the_proof_is_told_in_units_of_the_bench() -> None:
    """sin 23.1 degrees is 0.392, sin 2 degrees 0.0349."""
    rows = mould_page(sample_plan()["parts"][0]["moulds"][0])["proof"]["checks"]
    told = {row["name"]: (row["found"], row["limit"]) for row in rows}
    assert told["The pull of piece 1 rises from the board"] == ("23.1°", "at least 2°")
    assert told["Piece 1 backs the silicone: share that does"] == ("99.4 %", "at least 95.0 %")
    assert told["Room for the skin between body and shell"] == ("7.44 mm", "at least 7.30 mm")


def test_what_was_mended_is_not_said_to_stand_in_the_way() -> None:
    said = one_line(texts(sample_plan()))
    assert "mended Two small holes" in said and said.count("stands in the way of") == 1


def test_the_card_holds_what_each_pull_needs_and_no_clay() -> None:
    plan = sample_plan()
    card = " ".join(texts(plan)[-1].split())
    for coat in plan["parts"][0]["cast"]["coats"]:
        cup = coat["batches"][0]
        assert f"{grams(cup['a_g'])} {grams(cup['b_g'])}" in card
    assert "176 – 233 g, likely 203 g" in card and "clay" not in card


def test_a_plan_without_a_schedule_is_silent_about_it() -> None:
    plan = sample_plan()
    assert "9 castings at 2 a day take 5 days" in one_line(texts(plan))
    del plan["schedule"]
    assert "a day take" not in one_line(texts(plan))


def test_the_order_of_removal_is_said_on_page_and_card() -> None:
    plan = sample_plan()
    shell = plan["parts"][0]["moulds"][0]["shell"]
    said = one_line(texts(plan))
    assert "in this order and no other" in said
    assert "Take the shell off in this order:" in said
    shell["removal"] = "any order"
    said = one_line(texts(plan))
    assert "they come off in any order" in said
    assert "Take the shell off in any order:" in said


def test_loose_pieces_printed_parts_and_the_fewest_pieces_are_told() -> None:
    plan = sample_plan()
    mould = plan["parts"][0]["moulds"][0]
    mould["shell"]["stays_deep"] = [{"sentence": "Silicone stays 40 mm deep at the back."}]
    said = one_line(texts(plan))
    assert mould["shell"]["loose"][0]["sentence"] in said
    assert mould["least_pieces"]["sentence"] in said
    assert mould["options_left_out"][0] in said
    assert "shell-1-a.stl" in said
    assert "1 joint: 2 bolts, 2 dowels" in said
    assert "Silicone stays 40 mm deep at the back." in said
    assert "Then draw out the loose piece." in said


def test_an_assumed_word_has_no_unit() -> None:
    plan = sample_plan()
    plan["assumed"] = [
        {"field": "shop.build_box_mm", "value": "not asked", "why": "no printer"},
        {"field": "shell.thickness_mm", "value": 5, "why": "usual"},
    ]
    rows = page_data(plan, {})["assumed"]
    assert [row["value"] for row in rows] == ["not asked", "5 mm"]
