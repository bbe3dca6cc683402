"""Findings in words: one rendering for each unit, equal ones together for all the tubes and bends they hold for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from itertools import groupby, pairwise
from math import ceil, floor, log10
from string import Formatter
from typing import TYPE_CHECKING, Any

from converter.errors import GeometryError
from converter.findings.entries import CLAUSES, CODES, SEVERITIES, Clause, Reason, Values
from converter.quoting import quoted, shortened
from converter.tolerances import PAST_LENGTH, PAST_SHARE
from converter.units import (
    MM_PER,
    Display,
    cut_length,
    decimals_telling,
    either_length,
    fine_length,
    moment_text,
    place_text,
    sizes_text,
    small_length,
)

if TYPE_CHECKING:
    from converter.findings.finding import Finding

#: Tubes named where findings hold for more, and places of one tube.
_MOST_NAMES = 8
_MOST_PLACES = 12


def message(alike: Sequence[Finding], display: Display | None = None) -> str:
    """One sentence for findings that differ in nothing but tube, bend and end (`grouped`): place, text, full stop.

    Args:
        alike: one or several.
        display: how lengths are shown; millimetres for None.
    """
    shown = display or Display()
    text, place = without_place(alike, shown), place_of(alike)
    return f"{place}: {text}." if place else f"{_capitalized(text)}."


def without_place(alike: Sequence[Finding], display: Display) -> str:
    """What findings of `grouped` say, where the place stands beside it: no tube, no full stop."""
    first, entry = alike[0], CODES[alike[0].code]
    if len(alike) > 1 and _is_listed(alike):
        return write(entry.together, _values_together(alike, entry.each[first.variant], display), display)
    if len(alike) > 1 and entry.together and first.tube is None:
        sizes = [one.measured for one in alike if one.measured is not None]
        return write(entry.together, (("count", len(alike)), ("sizes", (min(sizes), max(sizes)))), display)
    text = entry.says[first.variant]
    # of ends of several tubes each has its own place, which tube and end name
    is_one_place = len({_place_value(finding) for finding in alike}) == 1
    return _write_telling(text if is_one_place else _placeless(text), first, display)


def _is_listed(alike: Sequence[Finding]) -> bool:
    """Whether they hold for several places of one tube, which a text for several lists."""
    return alike[0].variant in CODES[alike[0].code].each and len({finding.tube for finding in alike}) == 1


def _values_together(alike: Sequence[Finding], each: str, display: Display) -> Values:
    """What a text for several of one tube needs: numbers as the least and the greatest, and a phrase of each."""
    values: dict[str, object] = dict(alike[0].value_pairs)
    for name, value in values.items():
        if isinstance(value, float):
            every = [dict(one.value_pairs)[name] for one in alike]
            values[name] = min(every), max(every)  # type: ignore[type-var]
    phrases = [write(each, finding.value_pairs, display) for finding in alike]
    if len(phrases) > _MOST_PLACES + 1:
        phrases[_MOST_PLACES:] = [f"{len(phrases) - _MOST_PLACES} more (--verbose shows all)"]
    return (*values.items(), ("count", len(alike)), ("each", tuple(phrases)))


def _place_value(finding: Finding) -> object:
    return dict(finding.value_pairs).get("place")


@cache
def _placeless(text: str) -> str:
    """A text without the place that it speaks of, which stands first or in its midst."""
    return text.removeprefix("at {place:place}, ").replace(" at {place:place}", "", 1)


def cure(alike: Sequence[Finding], display: Display | None = None) -> str:
    """What would put findings of `grouped` right, a sentence, or ''."""
    shown, first, entry = display or Display(), alike[0], CODES[alike[0].code]
    name = first.cure or first.variant
    several = entry.cures.get(f"{name} each")
    if several is not None and len(alike) > 1 and _is_listed(alike):
        return _capitalized(write(several, _values_together(alike, entry.each_cure, shown), shown))
    return _capitalized(_write_telling(entry.cures.get(name, ""), first, shown))


def _capitalized(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def grouped(findings: Iterable[Finding], display: Display) -> list[tuple[Finding, ...]]:
    """Findings that say the same of several tubes and bends, together, each group where its first one stands.

    The same is what reads the same as lengths are shown, whatever place of the drawing the tube or its end is at; of a
    kind that has a text for several, all without a tube, the one that measures most first, or all of one tube.
    """
    groups: dict[object, list[Finding]] = {}
    for i, finding in enumerate(findings):
        key: object = i
        if finding.tube is not None and finding.variant in CODES[finding.code].each:
            key = (finding.code, finding.variant, finding.severity, finding.tube, finding.cure)
        elif finding.tube is not None:
            key = (finding.code, finding.variant, finding.severity, finding.value_pairs, finding.cure)
        elif CODES[finding.code].together:
            key = (finding.code, finding.variant, finding.severity)
        groups.setdefault(key, []).append(finding)
    same: dict[object, list[Finding]] = {}
    spots: dict[object, list[object]] = {}
    for told, group in groups.items():
        first = group[0]
        if first.tube is None and len(group) > 1:
            group.sort(key=lambda one: -(one.measured or 0.0))
        if first.tube is None or (len(group) > 1 and _is_listed(group)):
            same.setdefault(told, []).extend(group)
            continue
        words = display.each(partial(_words_anywhere, first)), display.each(partial(cure, group))
        for finding in group:
            # of two places of one end, which nothing else tells apart, each is told
            places = spots.setdefault((first.code, first.severity, words, finding.tube, finding.bend, finding.end), [])
            place = _place_value(finding)
            if place not in places:
                places.append(place)
            same.setdefault((first.code, first.severity, words, places.index(place)), []).append(finding)
    return [tuple(group) for group in same.values()]


def _words_anywhere(finding: Finding, display: Display) -> str:
    return _write_telling(_placeless(CODES[finding.code].says[finding.variant]), finding, display)


@dataclass(frozen=True, slots=True)
class SeverityCount:
    """How much there is to say of one severity.

    Attributes:
        severity: 'error', 'warning' or 'note'.
        sentences: as many as are shown, those that read the same once (`grouped`).
        places: the tubes, bends and ends of which they are said; as many as there are findings.
    """

    severity: str
    sentences: int
    places: int

    @property
    def words(self) -> str:
        """``1 error``, ``2 warnings (in 18 places)``."""
        places = f" (in {self.places:,} places)" if self.places > self.sentences else ""
        return counted(self.sentences, self.severity) + places


def severity_counts(groups: Sequence[Sequence[Finding]]) -> tuple[SeverityCount, ...]:
    """How much there is to say of each severity of which there is something, the worst first.

    Args:
        groups: findings that are told together, as of `grouped`.
    """
    sizes = {name: [len(alike) for alike in groups if alike[0].severity == name] for name in SEVERITIES}
    return tuple(SeverityCount(name, len(own), sum(own)) for name, own in sizes.items() if own)


def tally(counts: Iterable[SeverityCount]) -> str:
    """``1 error, 2 warnings (in 18 places), 3 notes``, or ``nothing to say``."""
    return ", ".join(one.words for one in counts) or "nothing to say"


def place_of(alike: Sequence[Finding]) -> str:
    """Where findings hold: ``RAIL, bend 3``, ``HOOP and RAIL-2, bends 1 to 4``, ``RUNG, end A``; '' for nowhere."""
    parts: dict[str, tuple[set[int], set[str]]] = {}
    for finding in alike:
        if finding.tube is not None:
            bends, ends = parts.setdefault(shortened(finding.tube), (set(), set()))
            if finding.bend is not None:
                bends.add(finding.bend)
            if finding.end is not None:
                ends.add(finding.end)
    places = [(name, tuple(sorted(bends)), tuple(sorted(ends))) for name, (bends, ends) in parts.items()]
    out = []
    for (bends_, ends_), same in groupby(sorted(places, key=lambda p: p[1:]), key=lambda p: p[1:]):
        names = [name for name, _, _ in same]
        if len(names) > _MOST_NAMES + 1:
            names[_MOST_NAMES:] = [f"{len(names) - _MOST_NAMES} more"]
        words = [listed(names)]
        if bends_:
            words.append(f"bend{'s' if len(bends_) > 1 else ''} {numbers(bends_)}")
        if ends_:
            words.append(f"end{'s' if len(ends_) > 1 else ''} {listed(ends_)}")
        out.append(", ".join(words))
    return "; ".join(out)


def numbers(values: Sequence[int]) -> str:
    """``1 to 4 and 6``, of ascending whole numbers."""
    runs: list[list[int]] = []
    for value in values:
        if runs and value == runs[-1][-1] + 1:
            runs[-1].append(value)
        else:
            runs.append([value])
    return listed([text for r in runs for text in ([f"{r[0]} to {r[-1]}"] if len(r) > 2 else map(str, r))])


def order_text(numbers: Sequence[int]) -> str:
    """``2, 1, 3``, or ``1 to 8`` where the numbers run up or down without a gap."""
    steps = {after - before for before, after in pairwise(numbers)}
    if len(numbers) > 2 and steps in ({1}, {-1}):
        return f"{numbers[0]} to {numbers[-1]}"
    return ", ".join(map(str, numbers))


def listed(words: Sequence[str], last: str = " and ") -> str:
    """``A, B and C``."""
    return ", ".join(words[:-1]) + last + words[-1] if len(words) > 1 else "".join(words)


def counted(count: int, noun: str) -> str:
    """``1 bend``, ``2 bends``."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def reason(why: Reason, display: Display | None = None) -> str:
    """Why something is so, in words: those of a clause, or the text itself; lengths in mm for None."""
    return why if isinstance(why, str) else write(CLAUSES[why.name], why.values, display or Display())


def write(text: str, values: Values, display: Display) -> str:
    """A text of the catalogue with its values.

    Raises:
        GeometryError: a value is missing, or cannot be shown so.
    """
    return _Writer(display).text(text, values)


def _write_telling(text: str, finding: Finding, display: Display) -> str:
    """A finding's text, in which what was measured never looks like the limit that it is past."""
    measured, limit = finding.measured, finding.limit
    if measured is None or limit is None or measured == limit:
        return write(text, finding.value_pairs, display)
    if finding.unit == "mm":
        # what differs by less is no verdict (`tolerances`)
        apart = abs(measured - limit) > 0.99 * PAST_LENGTH
        display = display.telling(measured, limit) if apart else display
        if abs(measured - limit) <= 0.99 * PAST_SHARE * abs(limit):
            return write(text, finding.value_pairs, display)
    return _Writer(display, (measured, limit)).text(text, finding.value_pairs)


@cache
def _parsed(text: str) -> tuple[tuple[str, str | None, str], ...]:
    """The parts of a text: a literal, the name of the value behind it (None for none), and how it is shown."""
    return tuple((literal, name, spec or "") for literal, name, spec, _ in Formatter().parse(text))


class _Writer:
    """Texts in braces as of `str.format`, with the formats that `converter.findings.entries` lists.

    Args:
        display: how lengths are shown.
        apart: a measured number and its limit, which must not look the same where they are no lengths, or lengths of
            any size; None for none.
    """

    def __init__(self, display: Display, apart: tuple[float, float] | None = None) -> None:
        self._display = display
        self._apart = apart

    def text(self, text: str, values: Values) -> str:
        """A text with its values.

        Raises:
            GeometryError: a value is missing, or cannot be shown so.
        """
        known = dict(values)
        parts = []
        for literal, name, spec in _parsed(text):
            parts.append(literal)
            if name is not None:
                if name not in known:
                    raise GeometryError(f"a finding lacks the value {quoted(name)}")
                parts.append(self.format_field(known[name], spec))
        return "".join(parts)

    def format_field(self, value: Any, format_spec: str) -> str:
        shown, kind, _, rest = self._display, *format_spec.partition(" ")
        if "/" in format_spec:
            return format_spec.split("/")[0 if value == 1 else 1]
        if kind == "count":
            one, _, several = rest.partition(" ")
            return f"{value:,} {one if value == 1 else several or one + 's'}"
        if kind == "range":
            return " to ".join(dict.fromkeys(self.format_field(size, rest) for size in value))
        if format_spec == "words":
            return " ".join(value)
        if kind in ("list", "one"):
            parts = [self.format_field(part, rest if kind == "list" else "") for part in value]
            return listed(parts) if kind == "list" else ", or ".join(parts)
        if isinstance(value, Clause) and not format_spec:
            return write(CLAUSES[value.name], value.values, shown)
        if not format_spec:
            return self._value_text(value)
        if format_spec == "moment":
            return moment_text(value, shown, self._apart)
        if format_spec == "small":
            return small_length(value, shown, self._apart)
        write_ = _KINDS.get(format_spec)
        if write_ is not None:
            return write_(value, shown)
        if self._apart is not None and value == self._apart[0] and format_spec.endswith("f"):
            least = int(format_spec.strip(".f"))
            return f"{value:.{decimals_telling(*self._apart, least)}f}"
        return format(value, format_spec)

    def _value_text(self, value: Any) -> str:
        words = getattr(value, "words", None)
        if words is not None:
            return str(words(self._display))
        if not isinstance(value, (str, int)):
            raise GeometryError(f"{quoted(value)} needs a format that says what it is")
        return str(value)


def _ample(value: float) -> float:
    """A number above 0 rounded up to two digits."""
    step = 10.0 ** (floor(log10(value)) - 1)
    return float(f"{ceil(value / step * (1.0 - 1e-12)) * step:.3g}")


_KINDS: dict[str, Callable[[Any, Display], str]] = {
    "quoted": lambda value, _: quoted(value),
    "bare": lambda value, _: shortened(value),
    "length": lambda value, display: display.length(value),
    "any": lambda value, display: small_length(value, display) if abs(value) < 1.0 else display.length(value),
    "number": lambda value, display: display.number(value),
    "cut": cut_length,
    "typed": lambda value, display: display.each(lambda one: f"{value / MM_PER[one.unit]:.4g}{one.unit}"),
    "at": lambda value, display: display.each(lambda one: f"{value / MM_PER[one.unit]:.3f}{one.unit}"),
    "ample": lambda value, display: display.each(lambda one: f"{_ample(value / MM_PER[one.unit]):g}{one.unit}"),
    "fine": fine_length,
    "either": either_length,
    "place": place_text,
    "angle": lambda value, display: display.angle(value),
    "sizes": sizes_text,
    "order": lambda value, _: order_text(value),
}


def heading(finding: Finding, display: Display) -> str:
    """A few words that head it in a list, without its place; '' where the catalogue has none for it."""
    return _fitting_text(CODES[finding.code].heading, finding, display)


def beside(finding: Finding, display: Display) -> str:
    """A word beside its place in the picture of a drawing, or ''."""
    return _fitting_text(CODES[finding.code].beside, finding, display)


def at_bend(finding: Finding) -> str:
    """Two or three words beside the bend that it is an error of, or ''."""
    return CODES[finding.code].at_bend


def _fitting_text(texts: Mapping[str, str], finding: Finding, display: Display) -> str:
    """The text that suits a finding best of those whose values are all known."""
    spots = 1 + len(finding.also)
    known: dict[str, object] = {"spots": spots}
    if finding.measured is not None:
        known |= {"measured": finding.measured, "within": max(finding.measured, 1e-3)}
    if finding.limit is not None:
        known["limit"] = finding.limit
    known |= dict(finding.value_pairs)
    variants = [finding.variant, ""]
    if finding.at is None:
        variants.insert(0, "more")
    if spots > 1:
        variants.insert(0, "several")
    for variant in variants:
        text = texts.get(variant)
        if text is not None and _needed(text) <= known.keys():
            return write(text, tuple(known.items()), display)
    return ""


def _needed(text: str) -> set[str]:
    return {name for _, name, _ in _parsed(text) if name}
