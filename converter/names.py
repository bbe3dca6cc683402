"""Names of tubes, layers, colours and linetypes as people type them: alone or as a pattern, by one rule everywhere.

Case does not matter, nor whether an accented letter is one character or two. In a pattern ``*`` stands for any text,
``?`` for any character, ``[abc]`` for one of some; a name always fits itself, brackets and all.
"""

from __future__ import annotations

import re
import unicodedata
from fnmatch import fnmatchcase

_PATTERN = re.compile(r"[*?[]")


def folded(name: str) -> str:
    """A name in the form in which names are the same or not."""
    if name.isascii():
        return name.lower()
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def fits(pattern: str, *names: str | None) -> bool:
    """Whether a name or pattern fits any of some names; it never fits None."""
    wanted = folded(pattern)
    keys = [folded(name) for name in names if name is not None]
    return wanted in keys or (_PATTERN.search(wanted) is not None and any(fnmatchcase(key, wanted) for key in keys))
