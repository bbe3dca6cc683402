"""A cutting list in words: what stands in the terminal, on paper and beside the diagram of bars."""

from __future__ import annotations

from itertools import groupby

from converter.bending.setup.words import is_half, turned
from converter.findings.wording import counted, listed
from converter.job.cutlist import CutGroup, CutList, CutPiece, Supply
from converter.nesting.model import Pattern
from converter.quoting import one_line
from converter.units import Display, cut_length, cut_number
from converter.words import mass_text

#: Heads of the columns of `bar_rows`.
BAR_HEADS = ("bars", "each", "from", "pieces in the order they are cut, with the stop of the saw", "left over")
_ORIGIN = {"buy": "to buy", "rack": "the rack", "stock": "stock"}
_MOST_DROPS = 8


def title_text(cuts: CutList) -> str:
    """What it is a list of: ``27 pieces from 9 bars``, and how many have no bar."""
    jobs = "" if cuts.quantities.jobs == 1 else f", everything made {cuts.quantities.jobs} times"
    lacking = f", {counted(cuts.lacking_count, 'piece')} without a bar" if cuts.lacking_count else ""
    return f"{counted(cuts.piece_count, 'piece')} from {counted(cuts.bar_count, 'bar')}{lacking}{jobs}"


def group_title(group: CutGroup, display: Display) -> str:
    """Section and metal."""
    return group.section.words(display) + (f", {one_line(group.metal)}" if group.metal else "")


def origin_text(supply: Supply) -> str:
    """Where bars come from, in a word or two."""
    return _ORIGIN[supply.origin]


def pieces_text(group: CutGroup, pattern: Pattern, display: Display) -> str:
    """The pieces of a bar in the order cut: ``3 x RAIL 92.500, POST 40.125``; ``/45.00°/`` behind one: a shared cut."""
    told = []
    for (i, angle), run in groupby(zip(pattern.pieces, group.head_angles(pattern), strict=True)):
        count, piece = len(list(run)), group.pieces[i]
        cut = f" /{display.angle(angle)}/" if angle else ""
        told.append(
            (f"{count} x " if count > 1 else "") + f"{one_line(piece.name)} {cut_number(piece.length, display)}{cut}"
        )
    return ", ".join(told)


def ends_text(piece: CutPiece, display: Display) -> str:
    """What a saw cuts the ends of a piece to: ``A 45.00°, B 51.34° + 38.66° by template``; '' for square ones."""
    ends = []
    for end, cut in piece.cuts.by_end.items():
        angles = [display.angle(one.angle) for one in cut.saw_cuts if one.angle]
        if angles:
            ends.append(f"{end} {' + '.join(angles)}{' by template' if cut.flat_cuts else ''}")
    return ", ".join([*ends, *(["after bending"] if ends and piece.is_bent else [])])


def left_text(group: CutGroup, pattern: Pattern, display: Display) -> str:
    """What is left of a bar, kept or scrap: ``221.652 drop``; or what pieces so rounded lack: ``0.062 too long``."""

    def one_text(one: Display) -> str:
        cut = group.cut_to(one)
        if over := cut.too_long(pattern):
            return f"{cut_number(over, one)} too long"
        left = cut.left(pattern)
        return f"{one.number(left)} {'drop' if cut.is_drop(left) else 'scrap'}"

    return display.each(one_text)


def bar_rows(group: CutGroup, display: Display) -> list[list[str]]:
    """A row per way of cutting a bar, as of `BAR_HEADS`."""
    if group.plan is None:
        return []
    return [
        [
            str(pattern.times),
            display.number(group.supplies[pattern.bar].stick.length),
            origin_text(group.supplies[pattern.bar]),
            pieces_text(group, pattern, display),
            left_text(group, pattern, display),
        ]
        for pattern in group.plan.patterns
    ]


def group_sentences(group: CutGroup, display: Display, currency: str) -> list[str]:
    """What has no bar, what is bought, taken and left, and how sure it is that less would not do: whole sentences."""
    lines = _without_bar(group, display)
    if group.plan is None:
        return lines
    if group.bought:
        price = group.price
        costs = "" if price is None else f", {price:.2f}{f' {currency}' if currency else ''}"
        lines.append(f"Buy {_bars_text(group.bought, display)} ({_mass(group, group.bought, display)}{costs}).")
    if group.on_hand:
        lines.append(f"Of what is on hand take {_bars_text(group.on_hand, display)}.")
    if group.bars_length:
        bars = sum(times for _, times in (*group.bought, *group.on_hand))
        of = "that bar" if bars == 1 else "those bars"
        lines.append(f"The pieces are {100.0 * group.pieces_length / group.bars_length:.1f} % of {of}.")
    if group.drops:
        lines.append(display.each(lambda one: _drops_text(group.cut_to(one), one)))
    lines.append(_proof(group, display))
    return lines + _sharing(group, display)


def _without_bar(group: CutGroup, display: Display) -> list[str]:
    """The pieces that there is no bar for, with their cut lengths; nothing where all have one."""
    told = [
        (f"{count} x " if count > 1 else "") + f"{one_line(piece.name)} {cut_length(piece.length, display)}"
        for piece, count in zip(group.pieces, group.lacking, strict=True)
        if count
    ]
    return [f"No bar for {listed(told)}."] if told else []


def _drops_text(group: CutGroup, display: Display) -> str:
    told = [f"{f'{count} x ' if count > 1 else ''}{display.length(mm)}" for mm, count in group.drops[:_MOST_DROPS]]
    more = sum(count for _, count in group.drops[_MOST_DROPS:])
    return f"Drops to keep: {listed([*told, *([f'{more} shorter'] if more else [])]) if told else 'none'}."


def _sharing(group: CutGroup, display: Display) -> list[str]:
    """How ends that share cuts are sawn; nothing where none do."""
    assert group.plan is not None
    if not group.shared_count:
        return []
    patterns = group.plan.patterns
    saved = sum(
        pattern.times * group.shared[kind - 1].saving for pattern in patterns for kind in pattern.shared if kind
    )
    angles = sorted({group.shared[kind - 1].angle for pattern in patterns for kind in pattern.shared if kind})
    marks = listed([display.angle(angle) for angle in angles])
    lines = [
        f"{counted(group.shared_count, 'slanted cut')} of two mitred ends at once "
        f"{'saves' if group.shared_count == 1 else 'save'} {display.length(saved)} of bar. They are marked "
        f"{marks}, what the saw is turned to from square; the stop is from long point to long point. All other cuts "
        "are square: mitres that are left are sawn on the piece."
    ]
    turns = {round(turn, 2) for pattern in patterns for turn in group.bar_turns(pattern) if turn is not None}
    if len(turns) == 1:
        turn = turns.pop()
        seen = "" if is_half(turn) else ", seen from its front end"
        how = "half round" if is_half(turn) else turned(turn, display)
        lines.append(
            f"From one such cut to the next turn the bar {how} about its length{seen}."
            if how
            else "From one such cut to the next the bar stays as it lies."
        )
    elif turns:
        lines.append("How far the bar is turned about its length from one such cut to the next stands in the CSV.")
    return lines


def _proof(group: CutGroup, display: Display) -> str:
    """That no way of cutting takes less, or how much less there may be."""
    assert group.plan is not None
    plan, of = group.plan, "costs" if group.by_price else "buys"
    if group.bought and plan.gap:
        less = 100.0 * (1.0 - plan.bound / plan.cost)
        return f"A way that {of} up to {less:.2g} % less was not ruled out in the time given."
    spare = plan.on_hand - plan.on_hand_bound
    if group.on_hand and spare > 0.05:
        return f"No way {of} less; one that takes up to {display.length(spare)} less of what is on hand may be left."
    return f"No way of cutting these pieces {of} less." if group.bought else "No way takes less of what is on hand."


def _bars_text(bars: tuple[tuple[Supply, int], ...], display: Display) -> str:
    return listed([f"{counted(times, 'bar')} of {display.length(supply.stick.length)}" for supply, times in bars])


def _mass(group: CutGroup, bars: tuple[tuple[Supply, int], ...], display: Display) -> str:
    length = sum(supply.stick.length * times for supply, times in bars)
    kg = None if group.kg_per_mm is None else group.kg_per_mm * length
    together = f"{display.length(length)} together, " if sum(times for _, times in bars) > 1 else ""
    return f"{together}mass {mass_text(kg, display)}"
