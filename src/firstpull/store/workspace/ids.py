"""Short names for what is kept."""

from __future__ import annotations

import secrets

LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"
"""Small letters and digits that are not mistaken for each other."""
LENGTH = 10


def new_id() -> str:
    """A name that nothing else has: 1 in 8e14 of being taken."""
    return "".join(secrets.choice(LETTERS) for _ in range(LENGTH))
