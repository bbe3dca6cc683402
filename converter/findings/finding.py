"""A finding as data: a code, a place, values in mm and degrees. Its words stand in the catalogue (`catalogue`).

Nothing here is English: `wording` makes sentences of findings at the border, in the unit that a person reads.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, cast

from converter.errors import GeometryError
from converter.findings import wording
from converter.findings.entries import CODES, ERROR, SEVERITIES, Values, as_values
from converter.quoting import quoted

if TYPE_CHECKING:
    from converter.units import Display


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a person should know before cutting metal.

    Attributes:
        code: one of `CODES`.
        variant: which of the code's texts says it; '' where it has one.
        severity: 'error' (it scraps the stick), 'warning', 'note'; '' takes the code's usual one.
        tube: name of the run, or None.
        bend: 1-based number of the bend, or None.
        end: 'A' or 'B' where it speaks of an end of the tube, or None.
        others: names of further runs that it speaks of.
        values: what its words need, by name (a mapping is taken, too).
        cure: which of the code's cures; '' for the one of its variant.
        measured, limit, unit: the numbers behind the sentence; lengths in mm ('mm'), angles in degrees ('deg').
        layer, handle: where the shape was drawn.
        at: place in the drawing's coordinates, mm, of what it speaks of; None where the reader does not know it,
            or where tube and bend tell it. Two findings that differ in nothing but places are equal.
        also: more such places, where one finding counts several.
    """

    code: str
    severity: str = ""
    tube: str | None = None
    bend: int | None = None
    measured: float | None = None
    limit: float | None = None
    unit: str | None = None
    layer: str | None = None
    handle: str | None = None
    cure: str = ""
    at: tuple[float, float, float] | None = field(default=None, compare=False)
    also: tuple[tuple[float, float, float], ...] = field(default=(), compare=False)
    others: tuple[str, ...] = ()
    variant: str = ""
    end: str | None = None
    values: Mapping[str, object] | Values = ()

    def __post_init__(self) -> None:
        known = CODES.get(self.code)
        if known is None:
            raise GeometryError(f"unknown finding code {quoted(self.code)}")
        if not self.severity:
            object.__setattr__(self, "severity", known.severity)
        elif self.severity not in SEVERITIES:
            raise GeometryError(f"unknown severity {quoted(self.severity)}")
        if self.variant not in known.says:
            raise GeometryError(f"finding {self.code} has no text {quoted(self.variant)}")
        object.__setattr__(self, "values", as_values(self.values))

    @property
    def doubts_unit(self) -> bool:
        """Whether the unit of the drawing, a section or the shop file is in doubt, so that errors may come of that."""
        return self.code in ("units-assumed", "units-doubted", "section-unit", "shop-unit")

    @property
    def precedence(self) -> int:
        """Sorts before severity: what makes others likely to be wrong comes first, and most of all no centerlines.

        A border or a dimension that is read as a tube has errors of its own, those of its corners; a tube that no die
        takes has sharp corners that nothing gives a radius.
        Before these only a unit that the file does not name: in the wrong one, what is no centerline is told wrongly.
        """
        if self.code in ("outline-suspect", "units-assumed"):
            return 0
        if self.doubts_unit or self.code in ("annotation-suspect", "fit-looser"):
            return 1
        return 2 if self.code == "no-die" and self.severity == ERROR else 3

    @property
    def rank(self) -> int:
        """0 for errors, 1 for warnings, 2 for notes: sorts the worst first."""
        return SEVERITIES.index(self.severity)

    @property
    def message(self) -> str:
        """The sentence, lengths in millimetres; see `message_in`."""
        return self.message_in(None)

    @property
    def value_pairs(self) -> Values:
        """Its values as pairs."""
        return cast(Values, self.values)  # `__post_init__` made them so

    def message_in(self, display: Display | None) -> str:
        """The sentence with its place (tube, bends, end) before it; lengths in mm for None."""
        return wording.message((self,), display)

    def cure_in(self, display: Display | None = None) -> str:
        """What would put it right, a sentence, or ''; lengths in mm for None."""
        return wording.cure((self,), display)


def refused_bends(findings: Iterable[Finding]) -> frozenset[tuple[str, int]]:
    """(tube, bend) of every bend that an error names: it is not to be made as drawn, and gets no mark and no stop."""
    return frozenset((f.tube, f.bend) for f in findings if f.severity == ERROR and f.tube and f.bend is not None)


def has_errors(findings: Iterable[Finding]) -> bool:
    """Whether any finding is an error (exit status 1)."""
    return any(f.severity == ERROR for f in findings)
