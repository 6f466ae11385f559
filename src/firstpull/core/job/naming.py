"""What is a job called where nobody named it?"""

from __future__ import annotations

import unicodedata

LONGEST = 60  # of a part's name


def plain_name(name: str) -> str:
    """A name that job and part may have, made of any text, such as a mesh file's without suffix.

    >>> plain_name("heron (v2)"), plain_name("egret\\u00b2"), plain_name("??"), plain_name("-_x")
    ('heron  v2', 'egret2', 'part', '_x')
    """
    # letters with their accents in one; raised and other odd figures as plain ones
    whole = unicodedata.normalize("NFKC", name)
    plain = "".join(c if c.isalpha() or c.isdecimal() or c in "_ -" else " " for c in whole)
    return plain.strip(" -")[:LONGEST].rstrip(" -") or "part"
