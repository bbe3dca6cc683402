"""Full-size flat stick templates as DXF: wrap one around the straight tube and mark it.

x runs along the stick from end A as finished (trimmed), y around the unrolled outside. The printed side faces
out. Seen so, with the feed to the right, a positive roll (right-hand about the direction of
feed) counts down the sheet. The zero line, top and bottom edge, is the outside of bend 1.
docs/templates.md says how to use it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from converter.bending.setup_words import reach_words, rounded_up
from converter.exporters.dxf_common import Layer, Page
from converter.exporters.figure import LEADING, Figure, block_size, spread, text_height, text_width
from converter.exporters.scale_bar import scale_bar
from converter.exporters.stick import Around, Stick, StickBend
from converter.model.run import Tube
from converter.model.section import Section
from converter.progress import steps
from converter.units import Display

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.registry import ExportJob

LAYERS = (
    Layer("cut", 1),
    Layer("trim", 30, "DASHED"),
    Layer("centerline-ends", 4, "CENTER"),
    Layer("sheet-edge", 7),
    Layer("bend-start", 5),
    Layer("bend-end", 150),
    Layer("outside-line", 94),
    Layer("inside-line", 6, "DASHED"),
    Layer("face-edges", 8),
    Layer("roll-scale", 8),
    Layer("labels", 7),
    Layer("leaders", 8),
    Layer("titles", 7),
    Layer("scale", 94),
)
#: mm; a centerline that ends nearer than this to the cut ends there
_SEEN = 0.01
#: how far around a template of a tube without a known section is drawn, in mm
_NO_SECTION = 40.0


def export(job: ExportJob, out: OutputSet) -> None:
    """Write ``stem-template.dxf``: one template per run, below one another."""
    page = Page(job.display.unit, LAYERS)
    gap = 40.0
    bar = scale_bar(job.display, "scale")
    page.put(bar, -bar.low[0], -bar.high[1])
    top = -(bar.high[1] - bar.low[1]) - gap
    setups = {setup.tube.name: setup for setup in job.setups}
    for tube in steps(job.tubes, "templates"):
        setup = setups.get(tube.name)
        stick = Stick.drawn(tube.run, job.findings) if setup is None else Stick.of(setup)
        figure = template_figure(tube, stick, job.display)
        page.put(figure, 0.0, top - figure.high[1])
        top -= figure.high[1] - figure.low[1] + gap
    page.save(out.path(f"{job.stem}-template.dxf"))


def sheet_y(around: Around, roll: float) -> float:
    """Height on the sheet, in mm from its bottom edge, of the line at ``roll`` degrees (0 is the top edge)."""
    return around.total - around.position(roll)


def template_figure(tube: Tube, stick: Stick, display: Display) -> Figure:
    """The template of one run, in mm: the finished end A at x = 0, the sheet's bottom edge at y = 0."""
    figure = Figure()
    section = tube.section
    around = None if section is None else Around.of(section)
    total = _NO_SECTION if around is None else around.total
    height = text_height(None if section is None else section.od)
    length, bends = stick.length, stick.bends
    _draw_sheet(figure, stick, total, height, display)
    if around is not None:
        for edge in around.edges:
            figure.line((0.0, total - edge), (length, total - edge), "face-edges")
        _roll_scale(figure, around, _beside(stick, height)[0], height)
    for bend in bends:
        figure.line((bend.begin, 0.0), (bend.begin, total), "bend-start")
        figure.line((bend.end, 0.0), (bend.end, total), "bend-end")
        if around is not None:
            _roll_lines(figure, around, bend, height)
    _label_positions(figure, stick, height, display)
    _label_bends(figure, bends, total, height, display)
    low = figure.low[1] - 1.5 * height
    figure.block(_notes(stick, section, display), (-stick.extra_a, low), height, "titles")
    _title(figure, tube, stick, total, height, display)
    return figure


def _draw_sheet(figure: Figure, stick: Stick, total: float, height: float, display: Display) -> None:
    length, extra_a, extra_b = stick.length, stick.extra_a, stick.extra_b
    left, right = -extra_a, length + extra_b
    figure.line((left, 0.0), (right, 0.0), "sheet-edge")
    figure.line((left, total), (right, total), "sheet-edge")
    figure.line((left, 0.0), (left, total), "cut")
    figure.line((right, 0.0), (right, total), "cut")
    for x, amount, inner in ((0.0, extra_a, -extra_a / 2.0), (length, extra_b, length + extra_b / 2.0)):
        if not amount:
            continue
        figure.line((x, 0.0), (x, total), "trim")
        note = f"extra {display.number(amount)}, trim after bending"
        room = text_width(note, height) + height
        if room <= total:
            figure.text(note, (inner + height / 2.0, total / 2.0 - room / 2.0), height, "labels", "left", 90.0)
    _centerline_ends(figure, stick, total, height)
    _end_label(figure, "end A", _beside(stick, height)[0], total, height, on_left=True)
    _end_label(figure, "end B", _beside(stick, height)[1], total, height, on_left=False)


def _beside(stick: Stick, height: float) -> tuple[float, float]:
    """Where what stands beside the sheet begins, left and right: past the ends of a centerline that the cut ends
    before, too."""
    left, right = -stick.extra_a, stick.length + stick.extra_b
    at_a, at_b = stick.cope_a, stick.length - stick.cope_b
    return (
        at_a - 1.8 * height if at_a < left - _SEEN else left,
        at_b + 1.8 * height if at_b > right + _SEEN else right,
    )


def _centerline_ends(figure: Figure, stick: Stick, total: float, height: float) -> None:
    """Where the centerline of a coped end stops: on the sheet where the cut reaches past it, else beside the sheet."""
    note = "centerline's end"
    long = text_width(note, height)
    for end, reach, trimmed in (("A", stick.cope_a, stick.extra_a), ("B", stick.cope_b, stick.extra_b)):
        if abs(reach) <= _SEEN:  # the cut itself is there
            continue
        x = reach if end == "A" else stick.length - reach
        figure.line((x, -0.6 * height), (x, total + 0.6 * height), "centerline-ends")
        # away from the end of the sheet; what is trimmed says so there
        left = (end == "A") == (reach < 0.0)
        if long + height <= total and not (trimmed and reach < 0.0):
            at = x - 0.4 * height if left else x + 1.4 * height
            figure.text(note, (at, (total - long) / 2.0), height, "labels", "left", 90.0)


def _end_label(figure: Figure, text: str, x: float, total: float, height: float, *, on_left: bool) -> None:
    """``cut, end A`` beside the cut, clear of the roll scale."""
    away = 9.0 * height if on_left else 1.5 * height
    at = (x - away if on_left else x + away, total / 2.0)
    figure.text(f"cut, {text}", at, 1.2 * height, "labels", "middle right" if on_left else "middle left")


def _roll_scale(figure: Figure, around: Around, left: float, height: float) -> None:
    """Ticks every 45 degrees beside end A and the arrow that shows which way roll counts."""
    small = min(height, around.total / 14.0)
    for roll in range(0, 361, 45):
        y = 0.0 if roll == 360 else sheet_y(around, roll)
        figure.line((left - 0.3 * height, y), (left - 1.2 * height, y), "roll-scale")
        figure.text(f"{roll}°", (left - 1.5 * height, y), small, "roll-scale", "middle right")
    x = left - 6.0 * height
    top, bottom = 0.75 * around.total, 0.25 * around.total
    figure.line((x, top), (x, bottom), "roll-scale")
    figure.line((x, bottom), (x - 0.5 * height, bottom + 1.2 * height), "roll-scale")
    figure.line((x, bottom), (x + 0.5 * height, bottom + 1.2 * height), "roll-scale")
    figure.text("roll +", (x - 0.6 * height, (top + bottom) / 2.0), small, "roll-scale", "center", 90.0)


def _roll_lines(figure: Figure, around: Around, bend: StickBend, height: float) -> None:
    """The lines that end up on the outside and on the inside of a bend."""
    for word, roll, layer in (("out", bend.roll, "outside-line"), ("in", bend.roll + 180.0, "inside-line")):
        y = sheet_y(around, roll)
        ys = [y]
        if around.total - y < 1e-6:
            ys.append(0.0)
        elif y < 1e-6:
            ys.append(around.total)
        for one in ys:
            figure.line((bend.begin, one), (bend.end, one), layer)
        text = f"{word} {bend.number}"
        if text_width(text, height) + height <= bend.end - bend.begin:
            below = ys[0] > around.total / 2.0
            at = ((bend.begin + bend.end) / 2.0, ys[0] - 1.4 * height if below else ys[0] + 0.4 * height)
            figure.text(text, at, height, "labels", "center")


def _label_positions(figure: Figure, stick: Stick, height: float, display: Display) -> None:
    """Distances from end A below the sheet, upright, spread where bends lie close."""
    places: list[float] = []
    for x in (0.0, *(x for bend in stick.bends for x in (bend.begin, bend.end)), stick.length):
        if not places or abs(x - places[-1]) > 1e-9:
            places.append(x)
    places.sort()
    pitch = 1.5 * height
    centers = spread(places, [pitch] * len(places), 0.0)
    drop = 3.0 * height
    for x, shown in zip(places, centers, strict=True):
        text = display.number(x)
        figure.line((x, 0.0), (x, -height), "leaders")
        figure.line((x, -height), (shown, -drop), "leaders")
        bottom = -drop - 0.4 * height - text_width(text, height)
        figure.text(text, (shown + 0.5 * height, bottom), height, "labels", "left", 90.0)


def _label_bends(figure: Figure, bends: Sequence[StickBend], total: float, height: float, display: Display) -> None:
    """What to set for each bend, in one row above the sheet, in order, with leaders to the bends."""
    if not bends:
        return
    blocks = []
    for bend in bends:
        clr = "sharp corner" if bend.clr is None else f"CLR {display.number(bend.clr)}"
        sign = "+" if bend.rotation > 0 else ""
        blocks.append(
            [
                f"bend {bend.number}",
                f"angle {display.angle(bend.angle)}",
                clr,
                f"rotation {sign}{display.angle(bend.rotation)}",
                f"roll {display.angle(bend.roll)}",
                f"{display.number(bend.begin)} to",
                f"{display.number(bend.end)} from A",
            ]
        )
    sizes = [block_size(block, height) for block in blocks]
    middles = [(bend.begin + bend.end) / 2.0 for bend in bends]
    centers = spread(middles, [w for w, _ in sizes], 1.5 * height)
    furthest = max(abs(c - m) for c, m in zip(centers, middles, strict=True))
    rise = 2.5 * height + min(0.25 * furthest, 12.0 * height)
    for block, (width, tall), middle, center in zip(blocks, sizes, middles, centers, strict=True):
        figure.line((middle, total), (middle, total + height), "leaders")
        figure.line((middle, total + height), (center, total + rise), "leaders")
        top = total + rise + 0.6 * height + tall
        for i, line in enumerate(block):
            figure.text(line, (center - width / 2.0, top - height - i * LEADING * height), height, "labels")


def _notes(stick: Stick, section: Section | None, display: Display) -> list[str]:
    bends = stick.bends
    notes = [
        "Wrap it around the straight stick with this side out; top and bottom edge meet. End A is at the left, "
        "the feed runs from end A toward end B."
    ]
    if section is None:
        notes = ["Section unknown: the sheet shows lengths only; its height means nothing."]
    elif bends:
        notes.append(
            "The zero line (top and bottom edge) is the outside of bend 1. Roll counts down the sheet: clockwise, seen "
            "from end A toward end B."
        )
        notes.append(
            "Full line: outside of the bend (the back). Dashed line: inside. In a fixed bender the tube is turned "
            "counter-clockwise for a positive rotation, seen the same way."
        )
    else:
        notes.append("A straight: the zero line may lie anywhere.")
    if bends:
        notes.append(
            "Lines across: start and end of each bend on the centerline, from end A"
            + (" as trimmed" if stick.extra_a else "")
            + (", as the set-up has them." if stick.set_up else ".")
            + " These are tangent points, not marks for a die."
        )
    for end, reach, amount in (("A", stick.cope_a, stick.extra_a), ("B", stick.cope_b, stick.extra_b)):
        if end in stick.coped:
            where = "the dashed line" if amount else "the end of the stick"
            after = " after bending" if bends else ""
            line = " (dash-dotted line)" if abs(reach) > _SEEN else ""
            notes.append(
                f"End {end} is cut to fit{after}: the long point of the cut is {where}, "
                f"{reach_words(reach, display)}{line}."
            )
    for end, amount in (("A", stick.extra_a), ("B", stick.extra_b)):
        if amount:
            notes.append(
                f"End {end} has {display.length(amount)} extra for the clamp or the grip: trim at the dashed line "
                "after bending."
            )
    return notes


def _title(
    figure: Figure,
    tube: Tube,
    stick: Stick,
    total: float,
    height: float,
    display: Display,
) -> None:
    extra_a, extra_b = stick.extra_a, stick.extra_b
    facts = [f"developed length {display.length(stick.length - stick.cope_a - stick.cope_b)}"]
    if stick.cope_a or stick.cope_b:
        facts.append(f"from long point to long point {display.length(stick.length)}")
    cut = stick.length + extra_a + extra_b
    if stick.set_up:  # as the set-up shows it
        facts.append(f"stick as cut {display.length(rounded_up(cut, display))}")
    elif extra_a or extra_b:
        facts.append(f"stick as cut {display.length(cut)}")
    if tube.section is not None:
        if tube.section.is_round:
            facts.append(f"OD {display.length(tube.section.od)}")
        else:
            facts.append(f"{display.number(tube.section.od)} x {display.length(tube.section.height)}")
        facts.append(f"around {display.length(total)}")
        if tube.section.label:
            facts.append(tube.section.label)
    top = figure.high[1] + 2.0 * height
    figure.text(", ".join(facts), (-extra_a, top), height, "titles")
    figure.text(f"{tube.name}: stick template, full size", (-extra_a, top + 2.0 * height), 1.5 * height, "titles")
