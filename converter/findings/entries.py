"""The list of codes: each defined once, with its usual severity, its meaning and its words.

A text is written with what it needs in braces, as of Python's `str.format`, and a colon says how it is shown:

    {name}             text of ours, a whole number, a part of a sentence (`Clause`), a section
    {name:quoted}      a name from a drawing or a file, in quotes
    {name:bare}        such a name without quotes
    {mm:any}           a length that may be large or very small: as ``small`` below a millimetre
    {mm:length}        a length, ``4.500 in``; ``number`` without the unit; ``fine`` and ``small`` for the very small
    {mm:cut}           a cut length, rounded up as it is cut; ``typed`` as an option is typed, ``0.032in``,
                       ``ample`` so, and rounded up to two digits, ``at`` so, a place along a tube
    {sizes:range length}  the least and the greatest, ``5.000 in to 6.000 in``; one where they read the same
    {sizes:sizes}      sizes across, mm, ``2.000 x 1.000 in``: decimals even where lengths are shown as fractions
    {mm:either}        a length in both units, the one shown first: ``2540 mm (100 in)``; where the unit is in doubt
    {degrees:angle}    ``90.00°``
    {newtons:moment}   of a moment in N m, ``2165 N·m`` or ``1597 lbf·ft``
    {point:place}      ``(100.00, 0.00, 25.40) mm``
    {n:count bend}     ``1 bend``, ``2 bends``; ``count entity entities`` where the plural is not with s
    {n:was/were}       the first for 1, the second for any other number
    {numbers:order}    ``2, 1, 3``; ``1 to 8`` where they run up or down without a gap
    {names:list}       ``A, B and C``; ``list quoted`` in quotes; ``one of``: ``A, or B``; ``words``: ``A B C``
    {x:.1f}            Python's own formats, for numbers that have no unit

Texts say what is, without the tube, the bend and the end, which stand before them: ``RAIL, bend 3: ...``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TypeAlias

from converter.errors import GeometryError
from converter.quoting import quoted

ERROR, WARNING, NOTE = "error", "warning", "note"
SEVERITIES = (ERROR, WARNING, NOTE)

#: What `Finding.values` and `Clause.values` hold, by name: lengths in mm, angles in degrees, counts, names, places,
#: parts of sentences, and things that know their own words (a section).
Values = tuple[tuple[str, object], ...]


def as_values(values: Mapping[str, object] | Values) -> Values:
    """Values by name as a tuple that compares and hashes; lists in them become tuples."""
    items = values.items() if isinstance(values, Mapping) else values
    return tuple((name, tuple(value) if isinstance(value, list) else value) for name, value in items)


@dataclass(frozen=True, slots=True)
class Clause:
    """A part of a sentence that is there or not, as data: the name of its words in the catalogue, and values.

    Attributes:
        name: of the clause, as of `clause`.
        values: as of `Finding.values`.
    """

    name: str
    values: Values = ()

    @classmethod
    def of(cls, name: str, /, **values: object) -> Clause:
        """A clause with its values by name."""
        return cls(name, as_values(values))


#: Why something was left out: a phrase, or a clause where it has lengths in it.
Reason: TypeAlias = str | Clause


@dataclass(frozen=True, slots=True)
class Entry:
    """One code.

    Attributes:
        severity: the usual one.
        meaning: in one sentence, for docs/findings.md.
        says: its texts by variant; without a full stop.
        cures: what would put it right, by variant or by name; whole sentences.
        heading: a few words that head it in the list beside a picture, by variant; see `shown`.
        beside: a word beside its place in the picture of a drawing, by variant.
        at_bend: two or three words beside the bend that it is an error of, in the picture of a tube; '' for none.
        together: its text for several: that speak of no tube, from ``count`` and ``sizes``, the range measured; or of
            one tube, where there is ``each``; '' where each is told by itself.
        each: of several of one tube, by variant, a phrase of each, which ``together`` lists as ``each`` beside the
            ``count`` and the values of the first, numbers as the least and the greatest.
        each_cure: a phrase of each for their cure, which is named after that of one (``split each``).
    """

    severity: str
    meaning: str
    says: Mapping[str, str]
    cures: Mapping[str, str]
    heading: Mapping[str, str] = field(default_factory=dict)
    beside: Mapping[str, str] = field(default_factory=dict)
    at_bend: str = ""
    together: str = ""
    each: Mapping[str, str] = field(default_factory=dict)
    each_cure: str = ""


#: Every code there is.
CODES: dict[str, Entry] = {}
#: Every part of a sentence that findings share or leave out.
CLAUSES: dict[str, str] = {}


def define(
    code: str,
    severity: str,
    meaning: str,
    says: str | Mapping[str, str],
    cure: str | Mapping[str, str] = "",
    together: str = "",
    each: str | Mapping[str, str] = "",
    each_cure: str = "",
) -> None:
    """Add a code to the list; each code is defined once.

    Args:
        code: words joined by hyphens.
        severity: the usual one.
        meaning: one sentence.
        says: its text, or texts by variant.
        cure: what would put it right, for every variant; or cures by variant or by a name of their own.
        together, each, each_cure: its text for several, see `Entry`; a phrase of each for every variant, or by variant.

    Raises:
        GeometryError: the code is taken or the severity unknown.
    """
    if code in CODES or severity not in SEVERITIES:
        raise GeometryError(f"finding code {quoted(code)} is defined twice or has an unknown severity")
    texts = {"": says} if isinstance(says, str) else dict(says)
    cures = dict.fromkeys(texts, cure) if isinstance(cure, str) else dict(cure)
    phrases = (dict.fromkeys(texts, each) if each else {}) if isinstance(each, str) else dict(each)
    CODES[code] = Entry(severity, meaning, texts, cures, {}, {}, "", together, phrases, each_cure)


def shown(
    code: str, heading: str | Mapping[str, str] = "", beside: str | Mapping[str, str] = "", at_bend: str = ""
) -> None:
    """Say how pictures show a code that is in the list already.

    Texts by variant are those of findings, and two more: 'several' for a finding with more than one place, and 'more'
    for one without a place, which only counts what is not told one by one. Besides a finding's own values they know
    ``measured`` and ``limit``, ``spots``, the number of places, and ``within``, what was measured but 0.001 at least.

    Args:
        code: of an entry.
        heading: a few words that head it in the list beside a picture; without them its sentence does.
        beside: a word beside its place in the picture of a drawing.
        at_bend: two or three words beside the bend that it is an error of, in the picture of a tube.

    Raises:
        GeometryError: there is no such code.
    """
    if code not in CODES:
        raise GeometryError(f"pictures show {quoted(code)}, which is no code of a finding")
    headings, words = ({"": text} if isinstance(text, str) else dict(text) for text in (heading, beside))
    CODES[code] = replace(CODES[code], heading=headings, beside=words, at_bend=at_bend)


def clause(name: str, text: str) -> None:
    """Add a part of a sentence, written as texts are.

    Raises:
        GeometryError: the name is taken.
    """
    if name in CLAUSES:
        raise GeometryError(f"clause {quoted(name)} is defined twice")
    CLAUSES[name] = text
