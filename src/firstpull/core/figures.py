"""How is a figure written in a sentence? With so many digits, and never in powers of ten."""

from __future__ import annotations

from decimal import Decimal


def told_number(value: float, digits: int) -> str:
    """A figure rounded to so many digits, written out.

    >>> told_number(372.4, 2), told_number(0.0662, 2), told_number(12_437.0, 3)
    ('370', '0.066', '12,400')
    >>> told_number(0.0000123, 2), told_number(2.5, 3), told_number(0.0, 2)
    ('0.000012', '2.5', '0')
    """
    short = f"{value:.{digits}g}"
    return f"{Decimal(short):,f}" if "e" in short else short
