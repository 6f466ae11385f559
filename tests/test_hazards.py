"""Cautions follow the materials, and stacks warn of what must not meet."""

from __future__ import annotations

import re

import pytest

from firstpull.core.hazards.cautions import caution_ids_for, caution_rows, cautions_for
from firstpull.core.hazards.stacks import UnknownSubstance, stack_findings, stack_table
from firstpull.core.material.row import UnknownMaterial, material_rows

ALL = list(material_rows())


def test_local_rules_and_the_data_sheet_always_come_first() -> None:
    for materials in ([], ["urethane-fast"], ALL):
        first = cautions_for(materials)[0]
        assert "local rules" in first.title.lower() and "safety data sheet" in first.text


def test_nothing_is_ever_called_safe() -> None:
    """The only use of the word is in the name of the safety data sheet."""
    for caution in cautions_for(ALL):
        text = f"{caution.title} {caution.text}".lower().replace("safety data sheet", "")
        assert not re.search(r"\bsafe|harmless|no risk|danger-free", text), caution.id


@pytest.mark.parametrize(
    ("material", "needed"),
    [
        ("urethane-fast", {"isocyanate", "ventilation", "respirator", "gloves", "heat-of-cure"}),
        ("urethane-paste", {"isocyanate", "ventilation", "respirator"}),
        ("polyester", {"styrene-peroxide", "gloves-polyester", "heat-of-cure", "ventilation"}),
        ("glass-polyester", {"styrene-peroxide", "glass-fibre", "gloves-polyester"}),
        ("epoxy", {"epoxy", "heat-of-cure", "gloves"}),
        ("silicone-tin-30a", {"tin-catalyst", "vacuum", "gloves"}),
        ("silicone-platinum-20a", {"gloves-platinum", "vacuum"}),
        ("bronze-fine", {"metal-dust", "respirator", "sharp-break"}),
        ("aluminium-atomised", {"aluminium", "metal-dust", "sharp-break"}),
        ("plaster-bandage", {"plaster"}),
        ("thickener-silica", {"fine-powder", "respirator"}),
        ("release-silicone", {"solvent", "ventilation"}),
    ],
)
def test_each_material_brings_its_cautions(material: str, needed: set[str]) -> None:
    assert needed <= set(caution_ids_for([material]))


def test_cautions_that_do_not_concern_the_job_stay_away() -> None:
    ids = {c.id for c in cautions_for(["silicone-platinum-20a", "epoxy", "plaster-bandage"])}
    assert ids.isdisjoint({"isocyanate", "tin-catalyst", "aluminium", "styrene-peroxide"})
    assert {"rules-first", "blades", "paint", "not-protective", "wearing"} <= ids


def test_a_caution_names_the_materials_that_are_its_reason() -> None:
    by_id = {c.id: c for c in cautions_for(["urethane-fast", "urethane-fast", "polyester"])}
    assert by_id["isocyanate"].applies_to == ("rigid urethane resin, fast",)
    assert len(by_id["heat-of-cure"].applies_to) == 2
    assert by_id["rules-first"].applies_to == ()


def test_a_material_without_a_row_is_refused_rather_than_passed_over() -> None:
    with pytest.raises(UnknownMaterial, match='"mystery"'):
        cautions_for(["urethane-fast", "mystery"])


def test_every_caution_can_be_reached_and_has_its_own_name() -> None:
    assert {c.id for c in cautions_for(ALL)} == {row.id for row in caution_rows()}
    assert len({row.id for row in caution_rows()}) == len(caution_rows())


def test_figures_in_cautions_agree_with_their_published_source() -> None:
    """Half mask: assigned protection factor 10 (29 CFR 1910.134). Styrene: flash point 31 C
    (occupational pocket guide). Diisocyanates: training above 0.1 % (Reg. (EU) 2020/1149)."""
    text = {c.id: c.text for c in cautions_for(ALL)}
    assert "about tenfold" in text["respirator"] and "29 CFR 1910.134" in text["respirator"]
    assert "31 °C" in text["styrene-peroxide"]
    assert "0.1 %" in text["isocyanate"] and "2020/1149" in text["isocyanate"]


@pytest.mark.parametrize(
    "things",
    [
        ("silicone-platinum-20a", "clay-sulphur"),
        ("silicone-platinum-20a", "latex gloves"),
        ("silicone-platinum-30a", "tin residue"),
        ("silicone-platinum-30a", "silicone-tin-25a"),
        ("silicone-platinum-30a", "resin print"),
        ("silicone-tin-30a", "cured silicone"),
        ("plaster-bandage", "soft silicone"),
        ("urethane-medium", "paper cups"),
        ("polyester", "vinyl gloves"),
    ],
)
def test_what_fails_as_a_rule_is_said_in_either_order(things: tuple[str, str]) -> None:
    for order in (things, things[::-1]):
        assert [f.kind for f in stack_findings(order)] == ["does not go together"]
    assert stack_findings(things[:1]) == ()


def test_tin_silicone_minds_neither_sulphur_clay_nor_latex() -> None:
    """Supplier notes: sulphur clay stops platinum silicone, tin silicone sets on it."""
    assert stack_findings(["silicone-tin-30a", "clay-sulphur", "latex gloves"]) == ()


def test_polyester_in_the_mould_warns_and_polyester_in_the_shell_does_not() -> None:
    cast = stack_findings(["silicone-platinum-30a", "polyester"])
    assert [f.kind for f in cast] == ["try a patch first"] and "swells" in cast[0].sentence
    assert stack_findings(["silicone-platinum-30a", "glass-polyester"]) == ()


def test_an_unknown_thing_is_refused_with_the_list() -> None:
    with pytest.raises(UnknownSubstance, match="latex gloves"):
        stack_findings(["jam"])


def test_every_pair_can_fire() -> None:
    """All materials and substances together meet every pair of the table."""
    everything = [*ALL, *stack_table().substances]
    assert len(stack_findings(everything)) == len(stack_table().pairs)
