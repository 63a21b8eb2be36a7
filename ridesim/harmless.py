"""Words that come from outside are shown harmless: they may come from a file that a stranger sent."""

from __future__ import annotations

import re

HARMFUL = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff\ud800-\udfff]")
"""Control characters but the line's end, marks that turn or hide text, and bytes that were no text."""


def harmless(text: str) -> str:
    """Return text in which control characters and those that turn the writing direction are spelled out."""
    return HARMFUL.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)
