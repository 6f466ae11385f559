"""A name made of any text is one that a sheet takes."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from firstpull.core.job.naming import LONGEST, plain_name
from firstpull.core.sheet import PartName

TAKES = TypeAdapter(PartName)


@given(st.text(max_size=120))
@example("mask \u00bd scale")
@example("\u00b2")
@example("- _ -")
@example("a" * (LONGEST - 1) + " b")
def test_whatever_a_file_is_called_makes_a_name(text: str) -> None:
    name = plain_name(text)
    assert TAKES.validate_python(name) == name == name.strip()
    assert plain_name(name) == name


@pytest.mark.parametrize("form", ["NFC", "NFD"])
def test_an_accent_stays_however_the_system_writes_it(form: str) -> None:
    assert plain_name(unicodedata.normalize(form, "h\u00e9ron 2")) == "h\u00e9ron 2"


def test_every_letter_and_figure_of_any_script_is_kept() -> None:
    assert (
        plain_name("\u9dfa 3") == "\u9dfa 3"
        and plain_name("\u0446\u0430\u043f\u043b\u044f") == "цапля"
    )
