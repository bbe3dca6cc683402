"""Text that is not ours on its way into a sentence: every character shows, and no piece is long.

Names of layers, tubes, dies and files, cells of tables, option values: whoever drew or typed them may have put
anything in. A message quotes them with `quoted` (or bare, with `shortened`), so that it stays one readable line.
"""

from __future__ import annotations

import unicodedata

#: Most characters of a quoted piece of text in a message.
LONGEST_QUOTE = 60
#: Most characters of a quoted path: a person must find the file.
LONGEST_PATH = 240
#: Most characters of what a library says of a failure.
LONGEST_REASON = 160

#: Categories that do not show: control, format, surrogate, private use, unassigned, line and paragraph separators.
_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
#: Joiners that scripts and pictographs need.
_JOINERS = "\u200c\u200d"
#: What Python raises where a program meets data of another shape than it expects.
_SLIPS = (AttributeError, TypeError, LookupError, AssertionError, ArithmeticError)


def decoded(text: str) -> str:
    """Text whose UTF-8 some program took for Latin-1 before it wrote it, put right.

    What is no UTF-8 by its bytes stays: a name that is Latin-1 in earnest all but never is.
    """
    if text.isascii():
        return text
    try:
        return text.encode("latin-1").decode("utf-8")
    except UnicodeError:
        return text


def visible(text: str) -> str:
    """Text in which every character shows: U+202E becomes ``[U+202E]``; line breaks and tabs become blanks."""
    if text.isprintable() or text.replace("\u00a0", "").isprintable():
        return text
    return "".join(map(_visible_character, text))


def _visible_character(c: str) -> str:
    if c in "\t\n\r":
        return " "
    if unicodedata.category(c) in _UNSEEN and c not in _JOINERS:
        return f"[U+{ord(c):04X}]"
    return c


def is_blank(text: str) -> bool:
    """Whether nothing of a text shows: it is empty, or holds only blanks and characters that do not show."""
    return all(c.isspace() or unicodedata.category(c) in _UNSEEN for c in text)


def one_line(text: str) -> str:
    """A whole message on one line: every character shows, and blanks stand alone."""
    return " ".join(visible(text).split())


def shortened(text: object, most: int = LONGEST_QUOTE) -> str:
    """Text on one line, of ``most`` characters at most: what is longer keeps its start and its end.

    Args:
        text: anything; what is no text is shown as Python shows it.
        most: characters, at least 8.
    """
    try:
        shown = str(text)
    except ValueError:  # Python writes no whole number of thousands of digits
        shown = "a number of thousands of digits"
    if len(shown) > 4 * most:  # before every character is looked at
        shown = f"{shown[: 2 * most]}{shown[-2 * most :]}"
    shown = one_line(shown) if shown.strip() else visible(shown)
    if len(shown) <= most:
        return shown
    end = (most - 1) // 3
    return f"{shown[: most - 1 - end]}…{shown[len(shown) - end :]}"


def reason_of(error: BaseException) -> str:
    """What a library says of a failure, for a clause in brackets: short and without a full stop.

    Where Python itself complains, that the library met what it did not expect, its words mean nothing to a person.
    """
    told = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    said = told.partition("; use sys.")[0]  # advice to programmers
    said = said.replace("(#None)", "")  # the handle of an entity that has none
    if isinstance(error, _SLIPS) or "values to unpack" in said:
        return "its parts do not fit together"
    return shortened(said, LONGEST_REASON).rstrip(" .") or type(error).__name__


def quoted(text: object, most: int = LONGEST_QUOTE) -> str:
    """`shortened` text in quotes: single ones, or double ones where it holds single ones."""
    shown = shortened(text, most)
    mark = '"' if "'" in shown and '"' not in shown else "'"
    return f"{mark}{shown}{mark}"
