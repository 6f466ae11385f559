"""Which colour stands for what, in pictures and on pages.

The tones differ in lightness as well as in hue, so that a black and white print still tells
master, clay, silicone and shell apart; cut faces carry a hatch besides.
"""

from __future__ import annotations

Colour = tuple[int, int, int]

INK: Colour = (28, 30, 33)
PAPER: Colour = (255, 255, 255)
ACCENT: Colour = (168, 58, 20)

MASTER: Colour = (236, 233, 225)
CLAY: Colour = (172, 150, 122)
SILICONE: Colour = (236, 176, 152)
SHELL: Colour = (150, 168, 180)
SHELL_TONES: tuple[Colour, ...] = (SHELL, (208, 217, 222), (120, 138, 152))
"""Shell pieces in list order, so that neighbours differ."""

LOOSE: Colour = (98, 118, 102)
"""Loose rigid pieces: of the shell's stuff, but they stay when it leaves."""

HATCH = {MASTER: "none", CLAY: "dots", SILICONE: "none", SHELL: "lines", LOOSE: "lines"}
"""How the cut face of each material is drawn; anything else stays plain."""


def hex_of(colour: Colour) -> str:
    """The colour as a page names it.

    >>> hex_of((168, 58, 20))
    '#a83a14'
    """
    return "#{:02x}{:02x}{:02x}".format(*colour)
