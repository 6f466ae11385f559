"""The page that a maker chooses from, and the figures of the choice chart behind it."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pypdf
import pytest
from lxml import etree

from firstpull.core.material.row import find_material
from firstpull.core.mould.locks import Lock
from firstpull.core.mould.options import Option
from firstpull.core.mould.zone import PartingWall
from firstpull.packet.choice_page import choice_page
from firstpull.packet.choice_picture import Window, picture
from firstpull.packet.packet import make_packet
from firstpull.packet.palette import ACCENT, hex_of
from firstpull.services.choice import choice_of
from sample_plan import sample_plan

SVG = "{http://www.w3.org/2000/svg}"
SILICONE = find_material("silicone-tin-30a", "silicone")
PLASTIC = find_material("printed-plastic", "shell")
PLASTER = find_material("plaster-bandage", "shell")


def mould() -> dict[str, Any]:
    return sample_plan()["parts"][0]["moulds"][0]


def page_text(plan: dict[str, Any], **options: Any) -> str:
    """The page on how many pieces, in one line."""
    pages = pypdf.PdfReader(io.BytesIO(make_packet(plan, {}, **options))).pages
    found = [" ".join(p.extract_text().split()) for p in pages]
    (page,) = [text for text in found if "How many pieces" in text]
    return page


# --- figures ---------------------------------------------------------------------------------


def an_option(pieces: int = 2, **fields: Any) -> Option:
    return Option(pieces, 20.0, 480.0, 360.0, 12.0, **fields)


def test_grams_are_volume_times_density():
    choice = choice_of(an_option(), silicone=SILICONE, shell=PLASTIC, kind="printed")
    density = SILICONE.estimate("density").p50
    assert choice.silicone_g.p50 == pytest.approx(480.0 * density)
    assert choice.fill_g.p50 == pytest.approx(20.0 * density)
    assert choice.shell_g.p50 == pytest.approx(360.0 * PLASTIC.estimate("density").p50)


def test_a_printed_shell_takes_its_volume_over_what_the_printer_lays():
    """360 cm3 at 12 cm3 an hour are 30 hours, at 36 they are 10."""
    kinds = {"silicone": SILICONE, "shell": PLASTIC, "kind": "printed"}
    assert choice_of(an_option(), **kinds, printer_cm3_h=12.0).shell_min.p50 == 30 * 60
    assert choice_of(an_option(), **kinds, printer_cm3_h=36.0).shell_min.p50 == 10 * 60


def test_a_laid_shell_takes_its_wait_for_each_piece():
    wait = PLASTER.estimate("piece_wait")
    for pieces in (1, 3):
        laid = choice_of(an_option(pieces), silicone=SILICONE, shell=PLASTER, kind="laid")
        assert laid.shell_min.p50 == pytest.approx(pieces * wait.p50)


def test_there_is_no_cost_without_a_price():
    kinds = {"silicone": SILICONE, "shell": PLASTER, "kind": "laid"}
    bare, priced = choice_of(an_option(), **kinds), choice_of(an_option(), **kinds, price_per_kg=30)
    assert bare.silicone_cost is None and bare.as_json()["silicone_cost"] is None
    assert priced.silicone_cost.p50 == pytest.approx(0.030 * priced.silicone_g.p50)
    assert "silicone_cost" in priced.as_json()["whys"]
    assert "silicone_cost" not in bare.as_json()["whys"]


@pytest.mark.parametrize("kind, shell", [("printed", PLASTIC), ("laid", PLASTER)])
def test_every_figure_says_why(kind, shell):
    """Formula, inputs, and a row with its mark or the field of the sheet that it came from."""
    told = choice_of(an_option(), silicone=SILICONE, shell=shell, kind=kind, price_per_kg=30)
    whys = told.as_json()["whys"]
    assert set(whys) == {"silicone_g", "fill_g", "shell_g", "shell_min", "silicone_cost"}
    for name, why in whys.items():
        assert why["formula"] and why["inputs"]
        from_sheet = "printer" in why["formula"] or name == "silicone_cost"
        assert from_sheet or all(row["mark"] for row in why["rows"])
    if kind == "printed":
        assert "shop.printer_cm3_h" in str(whys["shell_min"]["inputs"])


def test_walls_are_told_by_points_that_lie_in_them():
    wall = PartingWall((0.6, 0.8, 0.0), 12.0, ((-20.0, 1.0), (15.0, 4.0)))
    (told,) = choice_of(
        an_option(walls=(wall,), pulls=((0.0, 0.0, 1.0),)),
        silicone=SILICONE,
        shell=PLASTIC,
        kind="printed",
    ).as_json()["walls"]
    x, y, z = told["through"]
    assert 0.6 * x + 0.8 * y == pytest.approx(12.0, abs=0.01) and z == 0
    assert len(told["bend"]) == 2
    away = wall.depth(*np.array(told["bend"]).T)
    assert away == pytest.approx(0.0, abs=0.01)  # told in hundredths of a millimetre


def test_deep_fill_is_marked():
    lock = Lock(1, (0.0, 0.0, 5.0), 30.0, 12.0)
    option = Option(1, 20.0, 480.0, 360.0, 30.0, locks=(lock,))
    told = choice_of(option, silicone=SILICONE, shell=PLASTIC, kind="printed").as_json()
    assert told["strips_badly"] and told["locks"][0]["sentence"] == lock.sentence


# --- the page --------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_page_says_all_that_a_choice_hangs_on(paper):
    plan = sample_plan()
    said = page_text(plan, paper=paper)
    for option in plan["parts"][0]["moulds"][0]["options"]:
        word = "piece" if option["pieces"] == 1 else "pieces"
        assert f"{option['pieces']} {word}" in said
        assert f"{option['fill_cm3']} cm" in said
        assert f"{option['silicone_g']:.0f} g" in said.replace("\N{NO-BREAK SPACE}", " ")
        assert f"{option['shell_g']:.0f} g" in said.replace("\N{NO-BREAK SPACE}", " ")
    assert said.count("chosen") == 1
    assert "2 pieces keep the fill under the beak thin enough to bend." in said
    assert "4 pieces save nothing over 3." in said
    assert "price not given" in said and "to print" in said


def test_bars_are_as_long_as_their_grams():
    page = choice_page(mould())
    options = mould()["options"]
    most = max(max(o["silicone_g"], o["shell_g"]) for o in options)
    for column, option in zip(page["columns"], options, strict=True):
        whole = column["silicone_share"] + column["fill_share"]
        assert whole * most == pytest.approx(option["silicone_g"], abs=0.1)
        assert column["fill_share"] * most == pytest.approx(option["fill_g"], abs=0.1)
        assert column["shell_share"] * most == pytest.approx(option["shell_g"], abs=0.1)


def test_every_lock_has_a_letter_of_its_own_in_list_and_picture():
    page = choice_page(mould())
    letters = [lock["letter"] for column in page["columns"] for lock in column["locks"]]
    assert letters == ["A", "B", "C", "D"]
    for column in page["columns"]:
        tree = etree.fromstring(column["svg"])
        shown = {text.text for text in tree.iter(f"{SVG}text")}
        assert {lock["letter"] for lock in column["locks"]} == {t for t in shown if t.isalpha()}
    first = page["columns"][0]["locks"]
    assert [lock["where"] for lock in first] == ["front, 24 mm up", "back, 19 mm up"]


def test_a_printed_shell_is_printed_and_a_laid_one_laid():
    plan = sample_plan()
    plan["parts"][0]["moulds"][0]["shell"]["kind"] = "laid"
    assert "to lay" in page_text(plan) and "to print" not in page_text(plan)


def test_a_price_is_shown_where_it_is_known():
    plan = sample_plan()
    for option in plan["parts"][0]["moulds"][0]["options"]:
        option["silicone_cost"] = option["silicone_g"] * 0.03
    said = page_text(plan)
    assert "15.93" in said and "price not given" not in said


def test_an_old_plan_without_pictures_times_and_locks_still_has_its_chart():
    plan = sample_plan()
    made = plan["parts"][0]["moulds"][0]
    kept = ("pieces", "fill_cm3", "silicone_g", "shell_g", "recommended")
    made["options"] = [{k: o[k] for k in kept} for o in made["options"]]
    made.pop("relief"), made.pop("options_left_out")
    said = page_text(plan)
    assert "64.8 cm" in said and "chosen" in said and "seen from above" not in said


def test_a_mould_without_options_has_no_such_page():
    assert choice_page({}) is None and choice_page({"options": []}) is None


@pytest.mark.parametrize("pieces", [1, 4])
def test_one_choice_and_four_fit_the_page(pieces):
    plan = sample_plan()
    made = plan["parts"][0]["moulds"][0]
    made["options"] = [
        {**made["options"][min(n, 2)], "pieces": n + 1, "recommended": n == 0}
        for n in range(pieces)
    ]
    made["options"][0]["locks"] = made["options"][0]["locks"][:1] * 5
    assert f"{pieces} piece" in page_text(plan)


# --- the picture -----------------------------------------------------------------------------

SQUARE = [[0.0, 0.0], [100.0, 0.0], [100.0, 80.0], [0.0, 80.0]]
WINDOW = Window.around([SQUARE])


def drawn(**option: Any) -> Any:
    return etree.fromstring(picture({"outlines": [[SQUARE]], **option}, [], "AB", WINDOW))


def test_the_back_of_the_board_is_at_the_top_of_the_picture():
    assert WINDOW.at(0.0, 80.0)[1] < WINDOW.at(0.0, 0.0)[1]
    assert WINDOW.at(100.0, 0.0)[0] > WINDOW.at(0.0, 0.0)[0]
    margin = (WINDOW.width - 100.0) / 2
    assert WINDOW.at(0.0, 80.0) == pytest.approx((margin, margin))


def test_an_arrow_points_the_way_the_piece_leaves():
    """A pull to the back right by (0.6, 0.8, 0) rises on the picture by 4 for each 3 across."""
    tree = drawn(pulls=[[0.6, 0.8, 0.0]])
    line = next(tree.iter(f"{SVG}line"))
    x1, y1, x2, y2 = (float(line.get(k)) for k in ("x1", "y1", "x2", "y2"))
    assert (x1, y1) == pytest.approx(WINDOW.at(50.0, 40.0), abs=0.06)
    assert (y1 - y2) / (x2 - x1) == pytest.approx(4 / 3, rel=0.02)


def test_a_pull_straight_up_is_a_ringed_dot_and_no_arrow():
    tree = drawn(pulls=[[0.0, 0.05, 0.99875]])
    assert not list(tree.iter(f"{SVG}line")) and len(list(tree.iter(f"{SVG}circle"))) == 2


def test_marks_keep_off_each_other_and_point_back_to_their_place():
    places = [{"place_mm": [50.0, 40.0, 3.0]}, {"place_mm": [52.0, 41.0, 3.0]}]
    tree = drawn(pulls=[[0.0, 0.0, 1.0]], locks=places)
    discs = [
        (float(c.get("cx")), float(c.get("cy")))
        for c in tree.iter(f"{SVG}circle")
        if c.get("fill") == hex_of(ACCENT) and c.get("stroke")
    ]
    (ax, ay), (bx, by) = discs
    assert ((ax - bx) ** 2 + (ay - by) ** 2) ** 0.5 > 10 * WINDOW.unit
    ends = [(float(n.get("x1")), float(n.get("y1"))) for n in tree.iter(f"{SVG}line")]
    assert ends == [pytest.approx(WINDOW.at(*p["place_mm"][:2]), abs=0.06) for p in places]
