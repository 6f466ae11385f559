"""How a room's temperature stretches or shortens pot life, recoat and demould times."""

from __future__ import annotations

import math

GAS_J_MOL_K = 8.314462618
KELVIN = 273.15
SHEET_C = 23.0
"""The temperature at which data sheets of this trade state times."""


def time_factor(
    temperature_c: float, *, activation_kj_mol: float, stated_at_c: float = SHEET_C
) -> float:
    """What to multiply a stated time by at another temperature.

    Args:
        temperature_c: of material and room, degrees Celsius.
        activation_kj_mol: activation energy of the cure.
        stated_at_c: the temperature for which the time was stated.

    Valid near room temperature, about 10 to 40 C; humidity changes tin cure as well.
    Source: Arrhenius' law, one reaction; 52.3 kJ/mol is the rule "halves for every 10 C more".

    >>> round(time_factor(33, activation_kj_mol=52.3), 2)
    0.5
    """
    inverse = 1 / (temperature_c + KELVIN) - 1 / (stated_at_c + KELVIN)
    return math.exp(activation_kj_mol * 1000 / GAS_J_MOL_K * inverse)


def activation_from_halving(step_c: float, *, stated_at_c: float = SHEET_C) -> float:
    """The activation energy, kJ/mol, of a cure whose times halve ``step_c`` above a temperature.

    Source: Arrhenius' law solved for the energy.

    >>> round(activation_from_halving(10), 1)
    52.3
    """
    inverse = 1 / (stated_at_c + KELVIN) - 1 / (stated_at_c + step_c + KELVIN)
    return math.log(2) * GAS_J_MOL_K / 1000 / inverse
