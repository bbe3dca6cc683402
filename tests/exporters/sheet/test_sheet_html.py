"""The HTML job sheet as a file: what it says, what it never does, how it is put together."""

from __future__ import annotations

import json
import re
import time
from base64 import b64encode
from dataclasses import replace
from hashlib import sha256
from html import unescape
from html.parser import HTMLParser
from unicodedata import category

import pytest
from hypothesis import given
from hypothesis import strategies as st
from many_tubes import different_tubes
from sheet_tools import (
    EVIL,
    HOSTILE,
    demo_job,
    hostile_job,
    in_rounding,
    job_of,
    packed_block,
    page_of,
    shop,
    tube_named,
    views_of,
    with_steps,
    written,
)

from converter.exporters.dxf import cope_templates as cope_dxf
from converter.exporters.files import OutputSet
from converter.exporters.options import WriteOptions
from converter.exporters.paper.room import LabelSpot, Room
from converter.exporters.pdf import cope_templates as cope_pdf
from converter.exporters.pictures.annotation import leader
from converter.exporters.pictures.picture import ROLES, Picture
from converter.exporters.pictures.written.svg import svg_text
from converter.exporters.sheet import html, roundings
from converter.exporters.sheet.html import data, picture_style
from converter.exporters.sheet.roundings import Roundings, TextTable
from converter.exporters.sheet.squeeze import GRID, squeezed
from converter.exporters.sheet.tape import tape_rows
from converter.exporters.sheet.view import FindingView, in_brief, part_view
from converter.findings.wording import grouped, message
from converter.job import Job
from converter.job.quotation import quotation
from converter.model.section import Section
from converter.quoting import visible
from converter.settings import Settings
from converter.shop.load import demo_shop
from converter.units import BothUnits, Display, in_unit

BOTH = BothUnits("mm")


class Text(HTMLParser):
    """The text of a page, and every tag with its attributes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self._raw = False
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._raw = tag in ("script", "style")

    def handle_endtag(self, tag):
        self._raw = False

    def handle_data(self, data):
        if not self._raw:
            self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", "".join(self.words))


def marked_up(text: str, both: BothUnits = BOTH) -> str:
    return str(TextTable(Roundings(both)).marked_up(text))


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    job = demo_job(folder / "in")
    return job, written(job, folder / "out").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "display"),
    [
        ("0.01 mm", Display("mm")),
        ("1 mm", Display("mm", places=0)),
        ("0.001 in", Display("in")),
        ("1/16 in", Display("in", 16)),
        ("1/64 in", Display("in", 64)),
    ],
)
def test_it_says_every_setup_number_in_every_rounding(demo, words, display):
    """Marks, stops and rolls of every bend, sentences and the tape, as a sheet written with that rounding has them."""
    job, page = demo
    text = Text(in_rounding(page, display.unit, words)).text
    numbers = 0
    for sheet in views_of(job, display):
        assert display.length(sheet.stick) in text
        for sentence in sheet.instructions():
            assert re.sub(r"\s+", " ", sentence) in text
            table = [f"{name.capitalize()} {place}" for name, place in sheet.mark_rows(sentence)]
            first, *others = table or [""]
            from_end = f" from end {sheet.setup.feed_from} " if others else ""
            assert f"{first}{from_end}{' '.join(others)}" in text, "the table below it"
        for note in sheet.rounding_notes() if sheet.setup.steps else ():
            assert note in text
        for step in sheet.marked:
            for value in (sheet.mark("A", step), sheet.mark("B", step)):
                assert display.length(value) in text
                numbers += 1
            assert display.angle(step.stop) in text
    bends = {part.name: len(part.first.run.table.bends) for part in job.parts}
    assert numbers == 2 * (sum(bends.values()) - 1), "but for the one bend that is not to be made"


def test_a_page_chosen_in_sixteenths_is_the_page_written_in_sixteenths(demo, tmp_path):
    """Not a number of its own: what the switch shows is, word for word, what ``--fraction 16`` writes."""
    other = demo_job(tmp_path / "in", unit="in", denominator=16)
    page = written(other, tmp_path / "out").read_text(encoding="utf-8")
    shown = Text(in_rounding(demo[1], "in", "1/16 in")).text
    assert shown.replace("\u00a0", " ") == Text(with_steps(page)).text.replace("\u00a0", " ")


def test_the_tape_counts_from_either_end_and_from_the_place_before():
    """By hand: end A first, 600 + 60 of stick before the bends; every number rounded from its exact place."""
    job = job_of([tube_named("one")], shop(), feed_from="B")
    setup = job.setups[0]
    first, *marks, last = tape_rows(setup, BOTH)
    assert [row.what for row in (first, *marks, last)] == ["end B", "bend 2", "bend 1", "end A"]
    exact = [0.0, *sorted(step.mark for step in setup.steps), setup.stick_length]
    for unit, scale, digits in (("mm", 1.0, 2), ("in", 25.4, 3)):
        grain = 10.0**-digits
        stick = -(-exact[-1] / scale // grain) * grain
        for i, row in enumerate((first, *marks, last)):
            at = stick if i == 3 else exact[i] / scale
            before = exact[i - 1] / scale
            numbers = [float(in_unit(text, unit).split()[0]) for text in (row.running, row.step, row.other) if text]
            wanted = [at, at - before, stick - at] if i else [0.0, stick]
            assert numbers == pytest.approx(wanted, abs=0.51 * grain)
    assert tape_rows(None, BOTH) == ()


def test_it_says_findings_with_their_cure_and_cautions(demo):
    job, page = demo
    text = Text(in_rounding(page, "mm")).text
    shown = page_of(job)
    for findings in (shown.drawings[0].findings, *(run.findings for run in shown.parts)):
        for alike in grouped(findings, BOTH):
            for sentence in (message(alike, Display("mm")), alike[0].cure_in(Display("mm"))):
                assert re.sub(r"\s+", " ", sentence) in text
    for caution in shown.cautions:
        assert caution in text
    assert "Revision mark" in text and shown.revision.mark in text


def test_mass_is_in_kilograms_and_in_pounds():
    """Of the stick as cut, as quoted, by hand: pi/4 (38.1^2 - 32.1^2) mm2 x 7850 kg/m3; 1 lb is 0.45359237 kg."""
    job = job_of([tube_named("bent", rows=((700.0, 0.0, 90.0),))], shop())
    stick = job.setups[0].stick_length
    assert abs(stick - (700.0 + 114.3 * 3.141592653589793 / 2.0 + 300.0)) > 1.0, "not the centerline's"
    kg = 3.141592653589793 / 4.0 * (38.1**2 - 32.1**2) * stick * 7850.0 * 1e-9
    assert quotation(job).total("mass") == pytest.approx(kg)
    page = html.html_text(page_of(job))
    for unit, text in (("mm", f"{kg:.2f}\u00a0kg"), ("in", f"{kg / 0.45359237:.2f}\u00a0lb")):
        assert re.search(rf"<dt>Mass</dt><dd><u-n n=\w+>{text}</u-n>", in_rounding(page, unit))


def test_nothing_points_outside_the_file(demo):
    """No address but links within the page; no imports; the policy forbids the rest."""
    _, page = demo
    tags = Text(page).tags
    for tag, has in tags:
        assert "src" not in has, tag
        assert not [name for name in has if name.startswith("on")], tag
        assert has.get("href", "#").startswith("#")
    style = page[page.index("<style>") : page.index("</style>")]
    assert "url(" not in style and "@import" not in style
    policy = next(has["content"] for tag, has in tags if has.get("http-equiv") == "Content-Security-Policy")
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == rules["connect-src"] == "'none'"
    assert "unsafe-eval" not in policy and "unsafe-inline" not in rules["script-src"]


def test_the_policy_knows_exactly_the_scripts_of_the_page(demo):
    """Every script that runs has its hash in the policy, and every hash its script."""
    _, page = demo
    scripts = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    scripts.append(packed_block(page, "viewer"))
    hashes = {f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'" for text in scripts}
    allowed = re.search(r"script-src ([^;]*);", unescape(page))
    assert allowed and set(allowed[1].split()) == hashes and len(scripts) == 3


def test_the_3d_script_stands_in_the_page_once(demo):
    _, page = demo
    assert len(re.findall(r"plotly\.js v\d", packed_block(page, "viewer"))) == 1
    assert "plotly.js v" not in page and len(page) < 2.6e6


def test_data_blocks_are_json_with_every_step(demo):
    """One block for each part, with a pose before and after each bend; numbers only, no name in them."""
    job, page = demo
    blocks = packed_block(page, "scenes")
    keys = [(f"part-{i}", i) for i in range(1, len(job.parts) + 1)]
    assert [(block["key"], block["number"]) for block in blocks] == keys
    assert [1 + len(block["others"]) for block in blocks] == [part.quantity for part in job.parts]
    assert len(job.parts) < len(job.tubes), "some are equal"
    for block, setup in zip(blocks, job.part_setups.values(), strict=True):
        assert [step["bend"] for step in block["steps"]] == [step.bend for step in setup.steps]
        for step in block["steps"]:
            assert len(step["bent"]["rows"]) == 4 * len(step["made"]) == len(step["fed"]["rows"]) + 4
        assert not [tube.name for tube in job.tubes if tube.name in json.dumps(block)]
    assert blocks[-1]["bad"] == [1] and blocks[-1]["tight"] == [1]


def test_fed_from_end_b_the_bends_count_from_there():
    """Bends keep their numbers of the table, from end A; along the stick, from the end fed first, reversed."""
    page = html.html_text(page_of(job_of([tube_named("one")], shop(), feed_from="B")))
    (block,) = packed_block(page, "scenes")
    assert block["first"] == "B"
    assert [step["bend"] for step in block["steps"]] == [2, 1]
    assert [step["made"] for step in block["steps"]] == [[2], [2, 1]]
    assert "end B first" in page


def test_hostile_names_are_text():
    """Escaped wherever they stand; what does not show is written out."""
    page = html.html_text(page_of(hostile_job()))
    found = Text(with_steps(page))
    for shown in (*HOSTILE.values(), EVIL, f"{EVIL} steel", f"{EVIL} die"):
        assert shown in found.text
    assert not [tag for tag, has in found.tags if tag in ("img", "b", "i") and "class" not in has]
    assert page.count("<script") == 2 + 1 + len(("texts", "lines", "steps", "bench-data", "scenes", "viewer"))
    assert "\u2028" not in page and "\u202e" not in page


@given(st.text(max_size=60))
def test_a_data_block_cannot_be_left(text):
    """Whatever a name holds, the block has no tag in it and reads back as it was."""
    block = str(data({"name": text}))
    assert "<" not in block and ">" not in block and "&" not in block and block.isascii()
    assert json.loads(block) == {"name": text}


@given(st.text(max_size=60))
def test_said_text_has_no_tags_and_no_hidden_characters(text):
    """Text from a drawing stays text."""
    out = marked_up(text)
    assert "<" not in re.sub(r"</?span[^>]*>", "", out)
    assert not [c for c in out if category(c) in ("Cc", "Cf", "Cs", "Co", "Zl", "Zp") and c not in "\u200c\u200d"]


def test_said_text_marks_only_what_differs():
    """The words around a length stand once, and so does a length that is said twice in the table."""
    text = f"cut to {BOTH.length(25.4)}, mark {BOTH.length(50.8)}, again {BOTH.length(25.4)}"
    table = TextTable(Roundings(BOTH))
    assert str(table.marked_up(text)) == (
        "cut to <u-n n=0>25.40\u00a0mm</u-n>, mark <u-n n=1>50.80\u00a0mm</u-n>, again <u-n n=0>25.40\u00a0mm</u-n>"
    )
    value = table.value()
    size = len(value["choices"])
    assert (
        dict(zip(map(tuple, value["choices"]), value["texts"][:size], strict=True))["in", "0.001 in"] == "1.000\u00a0in"
    )
    whole = BOTH.each(lambda one: f"feed on {one.length(25.4)} and stop")
    assert marked_up(whole).startswith("feed on") and marked_up(whole).endswith(" and stop")


def test_plain_text_shows_every_character():
    assert visible("a\tb\nc") == "a b c"
    assert visible("x\u202ey\u0000z") == "x[U+202E]y[U+0000]z"
    assert visible("Größe 管 \u200d") == "Größe 管 \u200d"


#: On the grid, so that rounding in other steps first changes nothing.
POINTS = st.lists(st.tuples(st.integers(-2499, 2499), st.integers(-2499, 2499)), min_size=2, max_size=9)


@given(st.lists(st.tuples(st.sampled_from(["tube", "dim"]), POINTS, st.booleans()), min_size=1, max_size=6))
def test_a_squeezed_picture_is_the_same_picture(strokes):
    """Read back by a small reader of SVG paths of its own, every stroke lies where it lay, to a step of the grid."""
    picture = Picture("t")
    for role, points, closed in strokes:
        picture.stroke([(x / GRID, y / GRID) for x, y in points], role, closed=closed)
    after = squeezed(picture, "p", TextTable(Roundings(BOTH)).label)
    assert lines_of(after, 1.0 / GRID) == lines_of(svg_text(picture, unit="mm"))


def test_a_squeezed_picture_says_every_unit_in_one_text():
    """What the page's style says is not said again; texts of one look, rings and dots are short."""
    table = TextTable(Roundings(BOTH))
    picture = Picture("t")
    picture.label(BOTH.length(25.4), (3.0, 4.0), 2.0)
    picture.label("plain", (3.0, 8.0), 2.0)
    picture.label("1", (9.0, 8.0), 2.0, circled=True)
    spot = LabelSpot((30.0, 20.0, 40.0, 24.0), (20.0, 20.0), (30.0, 20.0))
    leader(picture, Room(0.7, (0.0, 0.0, 90.0, 90.0)), spot)
    after = squeezed(picture, "p", table.label)
    assert after.count("<text") == 3 and after.count("<circle") == 1
    assert " n=0>25.40 mm</text>" in after and table.value()["texts"][1] == "1.000 in"
    assert re.search(r'class="dot r-dim" d="M\d+ \d+l0 0"', after)
    assert "xmlns" not in after and "font-family" not in after and 'viewBox="' in after
    assert "font-family" in picture_style() and "fill-rule:evenodd" in picture_style()


def test_shapes_joined_into_one_path_leave_no_hole():
    """Two squares that overlap, one drawn the other way round, run one way round: the rule is nonzero."""
    picture = Picture("t")
    for outline in ([(0, 0), (4, 0), (4, 4), (0, 4)], [(2, 2), (2, 6), (6, 6), (6, 2)]):
        picture.fill([outline], "skin")
    (path,) = re.findall(
        r'<path class="f-skin all" d="([^"]*)"', squeezed(picture, "p", TextTable(Roundings(BOTH)).label)
    )
    areas = []
    for part in path.split("M")[1:]:
        x, y, *steps = map(int, re.findall(r"-?\d+", part))
        points = [(x, y)]
        for dx, dy in zip(steps[::2], steps[1::2], strict=True):
            points.append((points[-1][0] + dx, points[-1][1] + dy))
        areas.append(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, [*points[1:], points[0]], strict=True)))
    assert len(areas) == 2 and min(areas) > 0
    assert ".grid .all{fill-rule:nonzero}" in picture_style()


def lines_of(svg: str, scale: float = 1.0) -> list[tuple[str, list[tuple[int, int]], bool]]:
    """(class, points in steps of the grid, closed) of every subpath, absolute; those of one class together.

    Points that follow each other in one place are one.
    """
    found = []
    for look, path in re.findall(r'<path class="([^"]*)" d="([^"]*)"', svg):
        at = (0.0, 0.0)
        for command, numbers in re.findall(r"([MlLz])([^MlLz]*)", path):
            values = [float(v) for v in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", numbers)]
            pairs = list(zip(values[::2], values[1::2], strict=True))
            if command == "M":
                found.append([look, [], False])
            if command == "z":
                found[-1][2] = True
            for pair in pairs:
                at = (at[0] + pair[0], at[1] + pair[1]) if command == "l" else pair
                point = (round(at[0] * scale * GRID), round(at[1] * scale * GRID))
                if found[-1][1][-1:] != [point]:
                    found[-1][1].append(point)
    return sorted(((look, points, closed) for look, points, closed in found), key=lambda one: one[0])


def test_every_role_of_a_picture_has_its_look_in_light_and_dark():
    style = picture_style()
    for role, look in ROLES.items():
        assert f"--r-{role}:{look.light}" in style and f"--r-{role}:{look.dark}" in style
        assert f".f-{role}{{" in style and (look.width == 0.0 or f".r-{role}{{" in style)


def test_the_same_job_gives_the_same_page(demo, tmp_path):
    job, page = demo
    assert written(job, tmp_path).read_text(encoding="utf-8") == page


def test_a_page_is_the_same_however_few_texts_are_known_at_once(monkeypatch):
    """A large job's texts are forgotten between its parts; of a part they keep the numbers that the page gives."""
    tubes = different_tubes(4, bends=3)
    whole = html.html_text(page_of(job_of(tubes, shop())))
    monkeypatch.setattr(roundings, "_MOST_TEXTS", 0)
    assert html.html_text(page_of(job_of(tubes, shop()))) == whole


def test_the_demo_shop_is_said_loudly(tmp_path):
    job = job_of([tube_named("one")], demo_shop())
    assert "The dies and the machine on this sheet are invented" in html.html_text(page_of(job))
    own = job_of([tube_named("one")], shop())
    assert "are invented" not in html.html_text(page_of(own))


def test_templates_written_beside_it_are_linked(tmp_path):
    """Links to the cope templates of the same set of files; none when they are not written."""
    job = demo_job(tmp_path / "in")
    with OutputSet(tmp_path / "out") as out:
        for writer in (cope_dxf, cope_pdf, html):
            writer.export([job] if writer is html else job, out, WriteOptions(stem=job.stem))
    page = (tmp_path / "out" / "boathouse-sheet.html").read_text(encoding="utf-8")
    links = [has["href"] for tag, has in Text(page).tags if tag == "a" and not has["href"].startswith("#")]
    assert set(links) == {"boathouse-copes.pdf", "boathouse-copes.dxf"}
    assert "Full-size templates" in page


def test_a_run_that_cannot_be_held_has_no_steps():
    """No instructions that would scrap the stick: it says why instead."""
    tight = tube_named("tight", rows=((300.0, 0.0, 90.0), (10.0, 90.0, 90.0)))
    job = job_of([tight], shop())
    assert job.setups[0].plan.lacks
    page = html.html_text(page_of(job))
    assert "This tube cannot be bent so" in page
    assert 'class="bender' not in page and "data-tick" not in page[: page.index("<script>", 9000)]


def test_a_tube_that_is_not_to_be_made_as_drawn_has_no_steps():
    """No die for it: nothing is cut, marked or bent on whatever lies there."""
    tubes = [replace(tube_named("thick"), section=Section("round", 60.3, 3.0)), tube_named("fine")]
    page = with_steps(html.html_text(page_of(job_of(tubes, shop()))))
    thick, fine = page.split('<section class="part"')[1:]
    assert "Cut no stick for it yet." in thick and "Not to be made as drawn" in thick
    assert '<ol class="steps"' in fine and '<ol class="steps"' not in thick
    assert "Cut a stick to" in fine and "Cut a stick to" not in thick


def test_shown_in_one_unit_it_still_holds_both():
    job = Job.of_tubes([tube_named("one")], shop(), settings=Settings(unit="in", denominator=16))
    page = html.html_text(page_of(job))
    assert re.search(r'<html lang="en" class="in">', page)
    assert re.search(r"<u-n n=\w+>[\d-]+/16\u00a0in</u-n>", page)
    assert re.search(r"<u-n n=\w+>\d+\.\d\d\u00a0mm</u-n>", in_rounding(page, "mm"))


def test_a_name_that_holds_our_own_marks_is_one_name(tmp_path):
    """What holds both units apart inside the program cannot be forged by a layer's name."""
    name = "A\ue0f0B\ue0f1C\ue0f2D"
    page = html.html_text(page_of(job_of([tube_named(name)], shop())))
    assert "A[U+E0F0]B[U+E0F1]C[U+E0F2]D</bdi>" in page
    for element in ("bdi", "h2"):
        assert not re.search(rf"<{element}[^>]*>A<", page)


def test_parts_of_which_the_same_is_said_stand_together_the_worst_first():
    names = ("fine", "a", "b", "c", "d")
    tubes = [tube_named(name, rows=((300.0 + 5.0 * i, 0.0, 90.0),)) for i, name in enumerate(names)]
    views = [part_view(part, BOTH) for part in page_of(job_of(tubes, shop())).parts]
    note, error = (FindingView(severity, "long", "short", "") for severity in ("note", "error"))
    said = [(), (note, note), (error, note), (note, note), (note,)]
    briefs = in_brief([replace(view, findings=findings) for view, findings in zip(views, said, strict=True)])
    assert [([part.name for part in one.parts], one.more) for one in briefs] == [
        (["b"], 1),
        (["a", "c"], 1),
        (["d"], 0),
    ]


@pytest.mark.slow
def test_a_sheet_takes_no_longer_than_it_did_and_grows_as_the_job():
    """Three times the tubes: about three times the time, and no more bytes for each; wide slack, best of two.

    How long it takes at all is told in plain loops of the same process: 9 tubes took 30 million rounds where it was
    measured, and more than 50 before labels were placed by cells.
    """

    def measured(count: int) -> tuple[float, int]:
        job = job_of(different_tubes(count), shop())
        assert job.setups and job.parts and job.findings is not None
        start = time.process_time()
        size = len(html.html_text(page_of(job)))
        return time.process_time() - start, size

    def loops() -> float:
        start = time.process_time()
        assert sum(i & 1 for i in range(1_000_000)) == 500_000
        return time.process_time() - start

    few, many = (min(measured(count) for _ in range(2)) for count in (3, 9))
    assert many[0] < 45.0 * min(loops() for _ in range(5))
    assert many[0] < 3.0**1.4 * few[0]
    assert many[1] - few[1] < 6 * 31e3


def test_the_next_sheet_of_a_process_compiles_and_packs_nothing_again(monkeypatch):
    """And says the same as the first one did, whatever sheets were written between them."""
    import jinja2

    monkeypatch.setattr(html._COMPILED, "_code", {})
    html._packed_plotly.cache_clear()
    one, other = (job_of(different_tubes(2, seed=seed), shop(), f"job-{seed}") for seed in (1, 2))
    first = html.html_text(page_of(one))
    compiled = []
    whole = jinja2.Environment.compile
    monkeypatch.setattr(jinja2.Environment, "compile", lambda *a, **k: compiled.append(a) or whole(*a, **k))
    assert html.html_text(page_of(other)) != first
    assert html.html_text(page_of(one)) == first
    assert compiled == [] and html._packed_plotly.cache_info().misses == 1
