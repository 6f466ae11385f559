"""What is a job called where nobody named it?"""

from __future__ import annotations

import re

LONGEST = 60  # of a part's name


def plain_name(name: str) -> str:
    """A name that job and part may have, made of any text, such as a mesh file's without suffix.

    >>> plain_name("heron (v2)"), plain_name("??"), plain_name("_x")
    ('heron  v2', 'part', '_x')
    """
    plain = re.sub(r"[^\w -]+", " ", name).strip(" -")[:LONGEST] or "part"
    return plain if re.match(r"\w", plain) else f"part {plain}"
