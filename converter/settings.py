"""How a drawing is to be read, reduced and given its metal, as a person types it.

Lengths may stay as typed (``"4.5"``, ``"114.3mm"``): a bare number is in the drawing's own
unit, which is known only once the drawing is read.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from converter.errors import OptionError
from converter.importers.registry import ReadOptions
from converter.limits import WELD_GAP
from converter.tolerances import DEFAULT, Tolerances
from converter.units import BothUnits, Display, parse_length, shown_unit

Length = str | float


@dataclass(frozen=True, slots=True)
class Settings:
    """How to read a drawing, reduce it and give it its metal.

    Attributes:
        read: what to read from the file.
        join, near, fit: lengths, or None for the default (`converter.tolerances`).
        tangent: degrees, or None for the default.
        across_layers: whether loose ends may join tangent across layers.
        sections: ``1.75x0.120in`` for every run, ``LAYER=1.75x0.120in`` for one layer; later ones win.
        metal: name of the metal of runs that the job file gives none, or None.
        clr: radius for sharp corners (and for every bend with ``refit``), or None for the die's.
        refit: move every bend to the radius of its die, or to ``clr``; a job file may say so of some runs only.
        shop: path of a shop file, or None for the invented demo shop.
        job: path of a job file, or None.
        reverse: begin each table at the end drawn last, which is then called A.
        feed_from: the end that goes first at the bender: 'A', 'B', 'best' or None
            (`converter.bending.setup.setup.set_up`).
        corner: 'mitre' or 'bend' for sharp corners that the job file says nothing of by run or layer; None for
            what its default says, else bent.
        on_flat: 'square' or 'cope' for ends that land on a flat (sawn to it, or coped around its radii), where the job
            file says nothing of their tube by run or layer; None for what its default says, else square.
        coped: cut sticks to the long points of their copes; else every end where its centerline ends.
        gap: weld gap that copes leave, or None for none.
        runs: patterns of names or layers of the tubes that are shown and written; none for all.
        runs_anywhere: whether a pattern may meet no tube here, since one of another drawing may be meant.
        unit: 'in' or 'mm' for everything a person reads; None follows the drawing.
        denominator: write inches as fractions of this denominator.
    """

    read: ReadOptions = field(default_factory=ReadOptions)
    join: Length | None = None
    near: Length | None = None
    fit: Length | None = None
    tangent: float | None = None
    across_layers: bool = True
    sections: tuple[str, ...] = ()
    metal: str | None = None
    clr: Length | None = None
    refit: bool = False
    shop: str | None = None
    job: str | None = None
    reverse: bool = False
    corner: str | None = None
    on_flat: str | None = None
    feed_from: str | None = None
    coped: bool = True
    gap: Length | None = None
    runs: tuple[str, ...] = ()
    runs_anywhere: bool = False
    unit: str | None = None
    denominator: int | None = None

    def tolerances(self, unit: str) -> Tolerances:
        """The tolerances in mm; bare numbers are in ``unit``.

        Raises:
            UnitsError, OptionError: a value is not a length, or out of range.
        """
        typed = {name: getattr(self, name) for name in ("join", "near", "fit")}
        given = {name: parse_length(value, unit) for name, value in typed.items() if value is not None}
        if self.tangent is not None:
            given["tangent"] = self.tangent
        tol = replace(DEFAULT, **given)
        if "near" not in given and tol.near < tol.join:
            tol = replace(tol, near=tol.join)
        if tol.near < tol.join:
            raise OptionError("--near must not be below --join: it names the gaps that are a little too wide to join.")
        return tol

    def weld_gap(self, unit: str) -> float:
        """Weld gap that copes leave, mm, of a drawing in ``unit``.

        Raises:
            OptionError: it is wider than any weld bridges.
        """
        gap = 0.0 if self.gap is None else parse_length(self.gap, unit)
        if gap > WELD_GAP:
            shown = self.display(unit)
            raise OptionError(
                f"A weld gap (--gap) of {shown.length(gap)} is wider than any weld bridges: it is "
                f"{shown.length(WELD_GAP)} at most, and a number without a unit is in the drawing's."
            )
        return gap

    def display(self, unit: str) -> Display:
        """How lengths are shown when the drawing is in ``unit``: its own system unless told otherwise.

        Raises:
            OptionError: the fraction is not a power of two up to 128, or goes with mm.
        """
        return Display(self._shown(unit), self.denominator)

    def both_units(self, unit: str) -> BothUnits:
        """Every length in both units, the one of `display` first, for pages that switch between them.

        Raises:
            OptionError: as of `display`.
        """
        return BothUnits(self._shown(unit), None, self.denominator)

    def _shown(self, unit: str) -> str:
        return self.unit or ("in" if self.denominator is not None else shown_unit(unit))
