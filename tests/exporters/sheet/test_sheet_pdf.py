"""The job sheet on paper: every number is the set-up's, pages number themselves, nothing leaves the page or overlaps.

Texts are read back with pypdf, which knows nothing of how they were laid out.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from math import cos, dist, radians, sin
from pathlib import Path
from typing import Any

import pytest
from any_finding import any_finding
from pypdf import PdfReader
from sheet_tools import HOSTILE, demo_job, hostile_job, job_of, page_of, shop, tube_named, views_of

from converter.bending.setup.words import SetupView
from converter.exporters.options import PAPERS, WriteOptions
from converter.exporters.pdf import fonts as pdf_faces
from converter.exporters.pdf.canvas import Pdf
from converter.exporters.pictures.picture import Picture
from converter.exporters.pictures.run.isometric import TRAVEL
from converter.exporters.sheet.content import JobSheet
from converter.exporters.sheet.html import html_text
from converter.exporters.sheet.pdf import flow as paper
from converter.exporters.sheet.pdf.flow import Flow
from converter.exporters.sheet.pdf.write import sheet_pdf
from converter.job import Job, open_job
from converter.model.bends import BendTable, Placement
from converter.model.run import Run, Tube
from converter.settings import Settings
from converter.shop.model import Machine
from converter.units import Display, parse_length
from converter.words import total_mass_text

MARKERS = re.compile("[\ue0f0-\ue0f2]")


@pytest.fixture(autouse=True)
def fixed_date(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1741478400")  # 2025-03-09


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Callable[..., JobSheet]:
    """The sheet of the demo job in some settings, worked out once."""
    return cache(lambda **settings: page_of(demo_job(tmp_path_factory.mktemp("demo"), **settings)))


@pytest.fixture(scope="module")
def printed(demo) -> Callable[..., tuple[JobSheet, PdfReader, list[str]]]:
    """That sheet, printed on the paper of its unit and read back: the text of each page too."""

    @cache
    def of(**settings: Any) -> tuple[JobSheet, PdfReader, list[str]]:
        reader = PdfReader(io.BytesIO(sheet_pdf(demo(**settings))))
        return demo(**settings), reader, [one.extract_text() for one in reader.pages]

    return of


def pages_of(page: JobSheet) -> list[str]:
    """The text of every page of the sheet, one line per text drawn."""
    return [one.extract_text() for one in PdfReader(io.BytesIO(sheet_pdf(page))).pages]


def runs_of(page: JobSheet) -> dict[str, str]:
    """Run key -> the text of all its pages, told apart by the contents on the first pages."""
    reader = PdfReader(io.BytesIO(sheet_pdf(page)))
    return runs_in(reader, [one.extract_text() for one in reader.pages], page)


def runs_in(reader: PdfReader, texts: list[str], page: JobSheet) -> dict[str, str]:
    """The same of a sheet that is read already."""
    starts = [reader.get_destination_page_number(entry) for entry in reader.outline]
    ends = [*starts[1:], len(texts)]
    between = ["bars"] * (len(starts) - 1 - len(page.parts))
    names = ["job", *between, *(run.key for run in page.parts)]
    return {name: "\n".join(texts[a:b]) for name, a, b in zip(names, starts, ends, strict=True)}


def rows(text: str, count: int) -> list[list[str]]:
    """The set-up table read back: bend, mark from A, mark from B, die, stop, angle of each row."""
    lines = [line.strip() for line in text.splitlines()]
    number = r"-?\d[\d./-]*"
    found = []
    for i, line in enumerate(lines[:-5]):
        marks = re.fullmatch(r"\d+", line) and all(re.fullmatch(number, lines[i + k]) for k in (1, 2))
        angles = re.fullmatch(r"-?\d+\.\d\d°[~?]?", lines[i + 4]) and re.fullmatch(r"-?\d+\.\d\d°", lines[i + 5])
        if marks and angles:
            found.append(lines[i : i + 6])
    assert len(found) == count, (count, found)
    return found


@pytest.mark.slow
@pytest.mark.parametrize(
    ("settings", "unit", "slack"),
    [({"unit": "mm"}, "mm", 0.005), ({"unit": "in"}, "in", 0.0127), ({"denominator": 16}, "in", 25.4 / 32)],
    ids=["mm", "inches", "fractions"],
)
def test_every_number_of_the_set_up_is_on_the_page_of_its_run(printed, settings, unit, slack):
    page, reader, texts = printed(**settings)
    display = page.job.display
    assert display.unit == unit
    parts = runs_in(reader, texts, page)
    for run in page.parts:
        text = parts[run.key]
        setup = run.setup
        sheet = SetupView(setup, display, run.refusal)
        table = rows(text, len(sheet.marked))
        for step, (bend, mark_a, mark_b, die, stop, angle) in zip(sheet.marked, table, strict=True):
            assert int(bend) == step.bend
            assert parse_length(mark_a, unit) == pytest.approx(sheet.mark("A", step), abs=slack + 1e-9)
            assert parse_length(mark_b, unit) == pytest.approx(sheet.mark("B", step), abs=slack + 1e-9)
            assert die == step.die.name
            assert float(stop.rstrip("~?").rstrip("°")) == pytest.approx(step.stop, abs=0.005001)
            assert stop[-1] == {"tests": "°", "estimate": "~", "none": "?"}[step.springback.source]
            assert float(angle.rstrip("°")) == pytest.approx(step.target, abs=0.005001)
        stick = re.search(r"^Cut length: (\S+) (mm|in)$", text, re.MULTILINE)
        assert stick[2] == unit
        assert 0.0 <= parse_length(stick[1], unit) - setup.stick_length + 1e-6 <= 2 * slack + 1e-5, "rounded up"
        # the same in words, and on the stick drawn to scale
        flat = " ".join(text.split())
        for words in sheet.instructions():
            assert words in flat
        marks = [display.number(sheet.mark(setup.feed_from, step)) for step in sheet.marked]
        assert ("not to be made as drawn" in flat) == bool(run.bad_bends)
        told = re.findall(r"\S+", text.split("Step by step")[-1])
        for name, place in sheet.mark_rows():
            assert place.split()[0] in told and name in flat.split("Step by step")[-1], "the table of marks"
        drawn = text.split("goes into the bender first")[-1].split("Step by step")[0].split()
        assert not set(marks) - set(drawn)


@pytest.mark.slow
def test_the_first_page_lists_every_part_with_its_page(printed):
    page, reader, texts = printed(unit="mm")
    first = runs_in(reader, texts, page)["job"].splitlines()
    display = page.job.display
    for run, entry in zip(page.parts, reader.outline[-len(page.parts) :], strict=True):
        assert entry.title == run.title
        start = reader.get_destination_page_number(entry) + 1
        at = next(i for i, line in enumerate(first) if line == str(run.number) and run.name.startswith(first[i + 1]))
        row = first[at : at + 13]
        assert display.number(SetupView(run.setup, display).stick) in row
        assert str(len(run.tube.run.table.bends)) in row
        assert str(run.count) in row
        assert str(start) in row
        assert run.title in texts[start - 1].splitlines()[:4]
    said = " ".join(" ".join(first).split())
    assert "Keep hands away from die" in said
    assert "not from an engineer" in said
    assert "2 TEXT: text." in said, "what was left out"
    assert "Ends up to 0.10 mm apart were joined, gaps up to 2.00 mm named" in said
    assert f"1 of {len(page.parts)} parts cannot be made as drawn" in said


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_pages_have_their_size_number_mark_and_date(demo, paper):
    page = demo()
    reader = PdfReader(io.BytesIO(sheet_pdf(page, WriteOptions(paper=paper))))
    count = len(reader.pages)
    assert count >= 1 + len(page.parts), "a first page and one for each part"
    for i, one in enumerate(reader.pages, 1):
        size = float(one.mediabox.width) * 25.4 / 72, float(one.mediabox.height) * 25.4 / 72
        assert size == pytest.approx(PAPERS[paper], abs=0.01)
        text = one.extract_text()
        block = " ".join(text.split())
        for words in (f"page {i} of {count}", f"mark {page.revision.mark}", "date 2025-03-09", "quantity", "section"):
            assert words in block
        assert not MARKERS.search(text)


@pytest.mark.slow
@pytest.mark.parametrize(("unit", "size"), [("mm", PAPERS["A4"]), ("in", PAPERS["Letter"])])
def test_paper_goes_with_the_unit_unless_chosen(printed, unit, size):
    box = printed(unit=unit)[1].pages[0].mediabox
    assert (float(box.width) * 25.4 / 72, float(box.height) * 25.4 / 72) == pytest.approx(size, abs=0.01)


@pytest.mark.slow
def test_the_same_job_gives_the_same_bytes(tmp_path, monkeypatch):
    job = demo_job(tmp_path)
    first = sheet_pdf(page_of(job))
    assert sheet_pdf(page_of(job)) == first
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1741564800")
    later = sheet_pdf(page_of(job))
    assert later != first
    assert "2025-03-10" in PdfReader(io.BytesIO(later)).pages[0].extract_text()


@pytest.mark.slow
def test_a_run_page_says_everything_that_is_needed_at_the_bender(printed):
    page, reader, texts = printed(unit="mm")
    parts = runs_in(reader, texts, page)
    by_name = {run.name: run for run in page.parts}
    rail = " ".join(parts[by_name["RAIL-1"].key].split())
    for words in (
        "section 38.10 x 3.05 mm tube", "metal mild steel", "die R1500", "shop Demo boathouse",
        f"part 1 of {len(page.parts)}",
        "goes first end A", "Set-up, in the order made", "counter-clockwise", "The stick to scale",
        "Where the stops come from", "springback by estimate", "every bend measured", "Done",
    ):  # fmt: skip
        assert words in rail, words
    # 2481.77 mm of 38.1 x 3.048 tube: pi (38.1 - 3.048) 3.048 = 335.6 mm2; mild steel 7850 kg/m3
    mass = float(re.search(r"mass (\d+\.\d+) kg", rail)[1])
    length = by_name["RAIL-1"].tube.run.table.developed_length
    assert mass == pytest.approx(3.14159265 * 35.052 * 3.048 * length * 7850e-9, rel=1e-3)
    leg = " ".join(parts[by_name["LEG 1.25x0.083in"].key].split())
    assert "Not to be made as drawn: LEG 1.25x0.083in, bend 1: it has a centerline radius of 63.50 mm" in leg
    assert "ERROR" in leg
    assert "do Bend it on" in leg
    assert "too tight" in leg, "the picture marks the bend in words too"


@pytest.mark.slow
def test_coped_ends_are_told_with_their_numbers(printed):
    page, reader, texts = printed(unit="mm")
    parts = runs_in(reader, texts, page)
    coped = [run for run in page.parts if run.joints]
    assert coped, "the ladder's rungs are coped"
    for run in coped:
        text = " ".join(parts[run.key].split())
        for joint in run.joints:
            assert f"End {joint.end}" in text
            assert " and ".join(joint.mates) in text
            points = f"long point {joint.long_point:.2f} mm, short point {joint.short_point:.2f} mm"
            assert points.replace("-0.00", "0.00") in text
            assert f"end {joint.end} coped" in text, "a box to tick"
            assert f"Zero line: {joint.zero_in()}." in text.replace("  ", " ")
            saw = joint.hole_saw
            assert f"Hole saw {saw.size:.2f} mm" in text
        assert run.length.cut == pytest.approx(run.setup.stick_length)
        assert f"Cut length: {run.length.cut:.2f} mm" in text and "over cut ends" not in text, "told once"


def test_the_demo_shop_is_said_loudly(tmp_path):
    where = shop()
    quiet = pages_of(page_of(job_of([tube_named("T")], where)))[0]
    assert "Invented demo shop" not in quiet
    loud = pages_of(page_of(job_of([tube_named("T")], replace(where, source=""))))[0]
    assert "Invented demo shop" in loud


# --- odd jobs ----------------------------------------------------------------------------------------


def many_bends(count: int) -> Tube:
    """A flat zigzag: as many bends of 20 degrees as asked, one way and the other."""
    return tube_named("ZIGZAG", rows=[(200.0, 180.0 if i else 0.0, 20.0) for i in range(count)])


def test_thirty_bends_break_cleanly():
    page = page_of(job_of([many_bends(30)], shop(machine=Machine())))
    texts = pages_of(page)
    run = texts[1:]
    assert len(rows("\n".join(run), 30)) == 30
    with_rows = [text for text in run if "mark from A" in text]
    assert len(with_rows) >= 2
    heads = [" ".join(text.split()) for text in with_rows]
    assert all("mark from B" in text and "comes out at" in text for text in heads), "the head comes again"
    assert all("continued" in text for text in run[1:])
    assert "Set-up, in the order made, continued" in with_rows[1]
    assert "continued" not in run[0]
    assert all(len(text) > 300 for text in run), "no page is left empty"
    drawn = " ".join(run).split("goes into the bender first")[-1].split("Step by step")[0].split()
    assert sum(re.fullmatch(r"\d+\.\d\d", word) is not None for word in drawn) == 30


def test_a_straight_tube_needs_no_table():
    straight = Tube(Run("POST", None, False, BendTable((), 500.0), Placement()), tube_named("x").section)
    texts = pages_of(page_of(job_of([straight], shop())))
    assert len(texts) == 2
    text = " ".join(texts[1].split())
    assert "Cut length: 500.00 mm" in text
    assert "mark from A" not in text
    assert "cut to length" in text
    assert "every bend" not in text
    assert "Cut a stick to 500.00 mm" in text


def feed_of(page: JobSheet, monkeypatch: pytest.MonkeyPatch) -> Picture:
    """The picture of the first run as it is put on its page."""
    seen: list[Picture] = []
    put = paper.draw

    def watched(pdf: Pdf, picture: Picture, *at: Any, **how: Any) -> None:
        seen.append(picture)
        put(pdf, picture, *at, **how)

    monkeypatch.setattr(paper, "draw", watched)
    sheet_pdf(page)
    return next(one for one in seen if any(label.text == TRAVEL for label in one.labels))


def test_the_picture_is_fed_from_the_end_that_goes_first(monkeypatch):
    """One bend near end B: only fed from B is there room to hold the stick."""
    for rows_, first in (([(60.0, 0.0, 90.0)], "B"), ([(400.0, 0.0, 90.0)], "A")):
        where = shop(machine=Machine())
        tube = tube_named("T", rows=rows_)
        job = job_of([tube], where)
        if job.setups[0].feed_from != first:
            job = job_of([tube], where, feed_from=first)
        page = page_of(job)
        assert page.parts[0].setup.feed_from == first
        with monkeypatch.context() as patch:
            picture = feed_of(page, patch)
        feed = next(stroke.points[-1] for stroke in picture.strokes if stroke.role == "feed")
        ends = {label.text: label.at for label in picture.labels if label.boxed}
        other = "AB".replace(first, "")
        assert dist(feed, ends[first]) < 15.0 < dist(feed, ends[other])


def test_a_run_of_one_bend_takes_one_page_and_its_picture_what_is_left(monkeypatch):
    page = page_of(job_of([tube_named("T", rows=[(400.0, 0.0, 90.0)])], shop()))
    assert len(pages_of(page)) == 2, "the job and the run"
    picture = feed_of(page, monkeypatch)
    assert picture.high[1] >= 70.0
    assert min(label.height for label in picture.labels) >= 1.75


@pytest.mark.slow
def test_set_up_and_stick_stand_with_the_picture_and_the_picture_is_large(printed):
    """Of the demo's bent tubes, on either paper: what is needed at the bender is on one page."""
    page, a4, _ = printed(unit="mm")
    letter = PdfReader(io.BytesIO(sheet_pdf(page, WriteOptions(paper="Letter"))))
    for paper_, reader in (("A4", a4), ("Letter", letter)):
        for run, entry in zip(page.parts, reader.outline[-len(page.parts) :], strict=True):
            text = reader.pages[reader.get_destination_page_number(entry)].extract_text()
            if run.setup.steps:
                assert TRAVEL in text
                assert "Set-up, in the order made" in text
                assert "The stick to scale" in text, (run.name, paper_)


@pytest.mark.slow
def test_the_drawing_as_read_before_the_parts_has_its_list(printed):
    _, _, texts = printed(unit="mm")
    text = next(one for one in (" ".join(text.split()) for text in texts) if ", as read" in one)
    assert "error: LEG 1.25x0.083in bend 1: too tight: CLR 63.50 mm, the tightest die is 88.90 mm" in text
    assert "cannot be bent as drawn" in text
    assert "where a tube starts: its end A" in text


def test_a_corner_without_a_radius_has_no_set_up():
    base = tube_named("CORNER")
    bends = tuple(replace(bend, clr=None) for bend in base.run.table.bends)
    tube = replace(base, run=replace(base.run, table=BendTable(bends, 300.0)))
    text = " ".join(" ".join(pages_of(page_of(job_of([tube], shop())))).split())
    assert "There is no set-up of this tube: a corner has no radius" in text


def test_a_tube_that_cannot_be_held_gets_no_instructions():
    tube = tube_named("CLOSE", rows=[(300.0, 0.0, 90.0), (5.0, 90.0, 90.0), (5.0, 90.0, 90.0)])
    job = job_of([tube], shop())
    assert job.setups[0].plan.lacks
    text = " ".join(" ".join(pages_of(page_of(job))).split())
    assert "It cannot be bent in any order tried: see the findings." in text
    assert "Step by step" not in text and "Done" not in text
    assert "Not to be made as drawn" in text and "Cut no stick for it yet" in text


def test_hostile_names_show_as_text():
    page = page_of(hostile_job())
    reader = PdfReader(io.BytesIO(sheet_pdf(page)))
    texts = [one.extract_text() for one in reader.pages]
    flat = re.sub(r"\s", "", " ".join(texts))
    for shown in HOSTILE.values():
        assert re.sub(r"\s", "", shown) in flat
    assert not re.search("[\u202a-\u202e\u2028\u2029]", " ".join(texts))


def test_names_in_other_scripts_stay_legible():
    names = ["Причал", "Αποβάθρα", "Überhang-øå"]
    tubes = [tube_named(name, 400.0 * i) for i, name in enumerate(names)]
    text = " ".join(pages_of(page_of(job_of(tubes, shop()))))
    for name in names:
        assert name in text


def test_letters_that_no_font_has_are_told_once(monkeypatch):
    monkeypatch.setattr(pdf_faces, "_MACHINE", ())
    monkeypatch.setattr(pdf_faces, "_machine_files", tuple)
    tubes = [tube_named(name, 400.0 * i) for i, name in enumerate(["船着場-1", "Причал", "船?"])]
    texts = pages_of(page_of(job_of(tubes, shop())))
    flat = " ".join(" ".join(texts).split())
    assert flat.count("no font on this machine has U+5834, U+7740, U+8239. Go by the number") == 1
    assert "no font on this machine has" in " ".join(texts[0].split())
    assert "???-1" in flat
    quiet = " ".join(pages_of(page_of(job_of([tube_named("what?")], shop()))))
    assert "no font" not in " ".join(quiet.split()), "a question mark that is meant"


def test_a_very_long_finding_goes_over_pages():
    words = [f"word{i}" for i in range(3000)]
    why = {"why": " ".join(words)}
    long = any_finding("no-solid", variant="shape", values=why, tube="LONG", severity="error")
    texts = pages_of(page_of(job_of([tube_named("LONG")], shop(), findings=[long])))
    assert len(texts) >= 5
    found = re.findall(r"word\d+", " ".join(texts[1:]))
    assert found.count("word2999") >= 1
    assert set(found) == set(words), "nothing is cut off"


def test_equal_tubes_are_one_part_with_a_box_for_every_piece():
    a, b = tube_named("FIRST"), tube_named("SECOND", 500.0)
    other = tube_named("THIRD", 1000.0, rows=((300.0, 0.0, 90.0), (250.0, -90.0, 45.0)))
    page = page_of(job_of([a, b, other], shop()))
    assert [(part.title, part.count) for part in page.parts] == [("FIRST, 2 off", 2), ("THIRD", 1)], "no mirror image"
    texts = {key: " ".join(text.split()) for key, text in runs_of(page).items()}
    assert "make 2" in texts["part-1"] and "tubes FIRST, SECOND" in texts["part-1"]
    assert "Pieces FIRST SECOND" in texts["part-1"]
    assert "its mirror image is THIRD" in texts["part-1"] and "mirror image of FIRST" in texts["part-2"]
    assert "Pieces" not in texts["part-2"]
    one, other = page.parts
    assert f"mass {2 * one.mass + other.mass:.2f} kg" in texts["job"] and "tubes 3, 2 different" in texts["job"]


def rails() -> list[Tube]:
    """Nine parts, all straight but the fifth."""
    tubes = []
    for i in range(9):
        bent = tube_named(f"RAIL {i}", 300.0 * i)
        table = bent.run.table if i == 4 else BendTable((), 600.0 + 37.0 * i)
        tubes.append(replace(bent, run=replace(bent.run, table=table)))
    return tubes


def test_straight_parts_share_pages_and_are_found_on_them():
    """Two on a page where both fit; the list, the contents and the pages agree on where each is."""
    page = page_of(job_of(rails(), shop()))
    reader = PdfReader(io.BytesIO(sheet_pdf(page)))
    texts = [one.extract_text() for one in reader.pages]
    starts = [reader.get_destination_page_number(entry) for entry in reader.outline[1:]]
    assert [entry.title for entry in reader.outline[1:]] == [part.name for part in page.parts]
    assert starts == [1, 1, 2, 2, 3, 4, 4, 5, 5] and len(texts) == 6
    for part, start in zip(page.parts, starts, strict=True):
        assert part.name in texts[start].splitlines()
        assert f"Cut length: {page.job.display.length(SetupView(part.setup, page.job.display).stick)}" in texts[start]
        assert f"\n{start + 1}\n" in texts[0].split(part.name)[1][:200]


def bars(count: int, folder: Path) -> Job:
    """Straight tubes side by side, no two alike, read from a drawing."""
    lines = "".join(
        f"0\nLINE\n8\nBAR {i}\n10\n0.0\n20\n{60.0 * i}\n11\n{600.0 + 7.0 * i}\n21\n{60.0 * i}\n" for i in range(count)
    )
    path = folder / "bars.dxf"
    path.write_text(f"0\nSECTION\n2\nENTITIES\n{lines}0\nENDSEC\n0\nEOF\n", encoding="utf-8")
    return open_job(str(path), Settings(sections=("38.1x3mm",), metal="mild steel", unit="mm"))


@pytest.mark.parametrize(("count", "pages", "picture_on", "list_on"), [(3, 1, 0, 0), (12, 2, 1, 0), (60, 3, 0, 1)])
def test_the_first_pages_are_not_half_empty(tmp_path, monkeypatch, count, pages, picture_on, list_on):
    """The list stands below the picture; or before it, which then takes a page; or fills pages of its own."""
    heights: list[float] = []
    picture = Flow.picture

    def watched(flow: Flow, shown: Picture, unit: str, most: float) -> None:
        heights.append(shown.high[1])
        picture(flow, shown, unit, most)

    monkeypatch.setattr(Flow, "picture", watched)
    reader = PdfReader(io.BytesIO(sheet_pdf(page_of(bars(count, tmp_path)))))
    first = reader.get_destination_page_number(reader.outline[1])
    texts = [one.extract_text() for one in reader.pages[:first]]
    assert first == pages
    assert [i for i, text in enumerate(texts) if ", as read" in text] == [picture_on]
    assert next(i for i, text in enumerate(texts) if "\nBAR 0\n" in text.partition("Parts\n")[2]) == list_on
    if picture_on:
        assert "How this was read" in texts[0] and "How this was read" not in texts[1]
        assert max(heights) > 180.0, "the picture takes the page"


# --- where texts stand -------------------------------------------------------------------------------


class Watched:
    """Every text drawn, with its page and its box in mm (x low, y low, x high, y high)."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.page = 0
        self.texts: list[tuple[int, str, tuple[float, float, float, float]]] = []
        self.size = (0.0, 0.0)
        page, text = Pdf.page, Pdf.text

        def watched_page(pdf: Pdf, size: tuple[float, float]) -> None:
            self.page += 1
            self.size = size
            page(pdf, size)

        def watched_text(pdf: Pdf, words: str, at: tuple[float, float], height: float, **how: Any) -> None:
            wide = pdf.width(words, height, bold=how.get("bold", False))
            if how.get("room"):
                wide = min(wide, how["room"])
            left = {"left": 0.0, "center": wide / 2.0, "right": wide}[how.get("align", "left")]
            turn = radians(how.get("rotation", 0.0))
            corners = [(x - left, y) for x in (0.0, wide) for y in (0.0, height)]
            xs = [at[0] + x * cos(turn) - y * sin(turn) for x, y in corners]
            ys = [at[1] + x * sin(turn) + y * cos(turn) for x, y in corners]
            if words.strip():
                self.texts.append((self.page, words, (min(xs), min(ys), max(xs), max(ys))))
            text(pdf, words, at, height, **how)

        monkeypatch.setattr(Pdf, "page", watched_page)
        monkeypatch.setattr(Pdf, "text", watched_text)

    def overlaps(self) -> list[tuple[int, str, str]]:
        """Pairs of texts on a page of which more than 0.05 mm lies over one another."""
        found = []
        by_page: dict[int, list[tuple[str, tuple[float, float, float, float]]]] = {}
        for page, words, box in self.texts:
            by_page.setdefault(page, []).append((words, box))
        for page, texts in by_page.items():
            for i, (one, a) in enumerate(texts):
                for two, b in texts[:i]:
                    wide = min(a[2], b[2]) - max(a[0], b[0])
                    tall = min(a[3], b[3]) - max(a[1], b[1])
                    if wide > 0.05 and tall > 0.05:
                        found.append((page, one, two))
        return found


def long_job() -> Job:
    """A long name, and a finding that fills a page."""
    name = "LONG " * 20 + "NAME"
    why = {"why": "the finding goes on " * 2000}
    long = any_finding("no-solid", variant="shape", values=why, tube=name, severity="error")
    return job_of([tube_named(name)], shop(), findings=[long])


#: Jobs that strain the layout.
JOBS: dict[str, Callable[[Path], Job]] = {
    "demo mm": lambda folder: demo_job(folder, unit="mm"),
    "demo fractions": lambda folder: demo_job(folder, denominator=64),
    "hostile": lambda _: hostile_job(),
    "thirty": lambda _: job_of([many_bends(30)], shop(machine=Machine()), unit="in"),
    "long": lambda _: long_job(),
    "rails": lambda _: job_of(rails(), shop()),
}


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("which", JOBS)
def test_nothing_leaves_the_page_and_nothing_overlaps(tmp_path, monkeypatch, paper, which):
    page = page_of(JOBS[which](tmp_path))
    watched = Watched(monkeypatch)
    sheet_pdf(page, WriteOptions(paper=paper))
    assert watched.page >= 2
    wide, tall = PAPERS[paper]
    edge = 8.0
    for number, words, (x0, y0, x1, y1) in watched.texts:
        inside = x0 > edge and y0 > edge and x1 < wide - edge and y1 < tall - edge
        assert inside, (number, words, (x0, y0, x1, y1))
    assert watched.overlaps() == []


def test_the_watch_sees_texts_that_overlap(monkeypatch):
    """The guard above fails where it should."""
    watched = Watched(monkeypatch)
    pdf = Pdf("test", {})
    pdf.page((100.0, 100.0))
    pdf.text("one text", (10.0, 10.0), 3.0)
    pdf.text("another", (12.0, 11.0), 3.0)
    pdf.text("far away", (12.0, 61.0), 3.0)
    assert watched.overlaps() == [(1, "another", "one text")]


def test_what_all_runs_weigh_is_told_in_the_words_of_the_page():
    """The same sentence in HTML and PDF, where the metal of some is not known."""
    tubes = [tube_named(f"T{i}", 300.0 * i) for i in range(8)]
    told = job_of([replace(tube, metal=None) if i < 5 else tube for i, tube in enumerate(tubes)], shop())
    sentence = total_mass_text([part.mass for part in page_of(told).parts for _ in part.pieces], Display())
    assert re.fullmatch(r"\d+\.\d\d kg, without 5 whose metal or section is not known", sentence)
    assert sentence in " ".join(" ".join(pages_of(page_of(told))[0].split()).split())
    assert sentence.partition(",")[2] in html_text(page_of(told))


@pytest.mark.parametrize("denominator", [16, 64, 128])
def test_no_number_of_the_set_up_breaks(denominator):
    """Eight bends on a long stick, in fractions: every mark, stop and distance stands in one line of its cell."""
    bends = [(700.0 + 13.7 * i, 0.0 if i % 2 else 97.3, 20.0 + 9.1 * i) for i in range(8)]
    job = job_of([tube_named("RAIL", rows=bends)], shop(), unit="in")
    job = replace(job, settings=replace(job.settings, denominator=denominator))
    (view,) = views_of(job, job.display)
    lines = {line.strip() for text in pages_of(page_of(job)) for line in text.splitlines()}
    assert len(view.marked) > 5
    for i, step in enumerate(view.setup.steps):
        if step.bend in view.refused:
            continue
        for end in "AB":
            assert job.display.number(view.mark(end, step)) in lines
        assert view.around(i).removesuffix(" in") in lines | {""}, view.around(i)
