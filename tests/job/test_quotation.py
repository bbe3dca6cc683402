"""Quotations: counted by hand from the rates of a shop file."""

from __future__ import annotations

import csv
import io
import re
from html import unescape
from math import pi

import ezdxf
import pytest
from command_line import failed, hook, one_sentence, run
from pypdf import PdfReader
from shop_texts import DIE_R100, shop_text

from converter.errors import ShopError
from converter.exporters.data.quote import quotation_csv, quotation_document
from converter.job import Job
from converter.job.quotation import quotation, quotation_rows
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.settings import Settings
from converter.shop.load import shop_from_text
from converter.shop.stock import price_for

SHOP = (
    shop_text("Shed", DIE_R100)
    + """[[metal]]
name = "mild steel"
density = 7850
[rates]
currency = "EUR"
hour = 90
minutes_per_tube = 4
minutes_per_cut = 1.5
minutes_per_cope = 7
minutes_per_bend = 2.5
minutes_per_metre_of_weld = 30
[[price]]
metal = "mild steel"
per_kg = 2
[[price]]
section = "40x3mm"
per_metre = 6
"""
)
ROUND = Section("round", 40.0, 3.0)


def tubes():
    """A post; an arm coped to it, with one bend; a loose bar of another size."""
    post = Run("POST", "P", False, BendTable((), 1000.0), Placement((0, 0, 0), (0, 0, 1), (1, 0, 0)))
    table = BendTable((Bend(300.0, 0.0, 90.0, 100.0),), 200.0)
    arm = Run("ARM", "A", False, table, Placement((0, 0, 500), (1, 0, 0), (0, 1, 0)))
    bar = Run("BAR", "B", False, BendTable((), 500.0), Placement((0, 900, 0), (1, 0, 0), (0, 1, 0)))
    return [
        Tube(post, ROUND, metal="mild steel"),
        Tube(arm, ROUND, die="R100", metal="mild steel"),
        Tube(bar, Section("bar", 20.0, 10.0), metal="mild steel"),
    ]


def test_by_hand():
    job = Job.of_tubes(tubes(), shop_from_text(SHOP))
    post, arm, bar = quotation(job, 2).lines
    area = pi / 4.0 * (40.0**2 - 34.0**2)
    assert (post.stick, post.mass) == (1000.0, pytest.approx(area * 1000.0 * 7850e-9))
    assert (post.bends, post.cuts, post.copes, post.weld) == (0, 2, 0, 0.0)
    assert post.minutes == pytest.approx(4.0 + 2 * 1.5)
    assert post.metal_price == pytest.approx(6.0)  # of its section, by the metre, before that of any mild steel
    assert post.work_price == pytest.approx(7.0 / 60.0 * 90.0)
    setup = job.setups[1]
    trims = (setup.extra_a > 0.0) + (setup.extra_b > 0.0)
    assert (arm.bends, arm.copes, arm.cuts) == (1, 1, 2 + trims)
    assert arm.weld > pi * 40.0  # longer than once around
    assert arm.minutes == pytest.approx(4.0 + (2 + trims) * 1.5 + 7.0 + 2.5 + arm.weld / 1000.0 * 30.0)
    assert arm.stick == setup.stick_length
    assert bar.metal_price == round(pi / 4.0 * 400.0 * 500.0 * 7850e-9 * 2.0, 2)  # to the cent
    total = quotation(job, 2).total
    assert total("price") == pytest.approx(2.0 * sum(line.metal_price + line.work_price for line in (post, arm, bar)))
    assert total("bends") == 2.0


def hooks():
    """Two equal hooks of unequal legs, the second drawn from its other end, and the bar of `tubes` three times."""
    there = BendTable((Bend(300.0, 0.0, 90.0, 100.0),), 200.0)
    back = BendTable((Bend(200.0, 0.0, 90.0, 100.0),), 300.0)
    places = [Placement((0, 2000.0 * i, 0), (1, 0, 0), (0, 1, 0)) for i in range(5)]
    bars = [Run(f"BAR-{i}", "B", False, BendTable((), 500.0), places[2 + i]) for i in range(3)]
    return [
        Tube(bars[0], Section("bar", 20.0, 10.0), metal="mild steel"),
        Tube(Run("HOOK-1", "H", False, there, places[0]), ROUND, die="R100", metal="mild steel"),
        *(Tube(bar, Section("bar", 20.0, 10.0), metal="mild steel") for bar in bars[1:]),
        Tube(Run("HOOK-2", "H", False, back, places[1]), ROUND, die="R100", metal="mild steel"),
    ]


def test_an_end_cut_square_on_a_flat_takes_no_cope():
    """By hand: two saw cuts and the welds around the picket, 20 mm square with corners of 4 mm."""
    square = Section("square", 40.0, 2.0, height=40.0, corner=4.0)
    thin = Section("square", 20.0, 2.0, height=20.0, corner=4.0)
    rails = [
        Run(f"RAIL-{i}", "R", False, BendTable((), 600.0), Placement((0, 0, z), (1, 0, 0), (0, 0, 1)))
        for i, z in enumerate((0.0, 500.0))
    ]
    picket = Run("PICKET", "P", False, BendTable((), 500.0), Placement((300.0, 0, 0), (0, 0, 1), (1, 0, 0)))
    tubes = [*(Tube(run, square, metal="mild steel") for run in rails), Tube(picket, thin, metal="mild steel")]
    job = Job.of_tubes(tubes, shop_from_text(SHOP))
    *_, line = quotation(job).lines
    assert [(joint.tube, joint.kind) for joint in job.joints] == [("PICKET", "square")] * 2
    around = 4 * (20.0 - 2 * 4.0) + 2 * pi * 4.0
    assert (line.stick, line.cuts, line.copes) == (pytest.approx(460.0), 2, 0)
    assert line.weld == pytest.approx(2 * around, rel=1e-3)
    assert line.minutes == pytest.approx(4.0 + 2 * 1.5 + line.weld / 1000.0 * 30.0)


@pytest.mark.parametrize("feed_from", ["A", "B", "best"])
def test_parts_by_hand(feed_from):
    job = Job.of_tubes(hooks(), shop_from_text(SHOP), settings=Settings(feed_from=feed_from))
    estimate = quotation(job, 4)
    bar, hook = estimate.parts
    assert [(one.part.name, one.off, one.part.names) for one in estimate.parts] == [
        ("BAR", 3, ("BAR-0", "BAR-1", "BAR-2")),
        ("HOOK", 2, ("HOOK-1", "HOOK-2")),
    ]
    assert [line.tube for line in estimate.lines] == ["BAR-0", "HOOK-1", "BAR-1", "BAR-2", "HOOK-2"]
    mass = pi / 4.0 * 400.0 * 500.0 * 7850e-9
    work = (4.0 + 2 * 1.5) / 60.0 * 90.0
    assert bar.each("mass") == pytest.approx(mass) and bar.whole("mass") == pytest.approx(3 * mass)
    price = round(2.0 * mass, 2) + work  # 2.466 -> 2.47, and 10.50
    assert bar.each("price") == pytest.approx(price, abs=1e-9)
    setup = job.setups[1]
    trims = (setup.extra_a > 0.0) + (setup.extra_b > 0.0)
    minutes = 4.0 + (2 + trims) * 1.5 + 2.5
    assert {line.stick for line in hook.lines} == {setup.stick_length} == {hook.each("stick")}
    assert hook.each("price") == pytest.approx(
        round(setup.stick_length * 0.006, 2) + round(minutes / 60.0 * 90.0, 2), abs=1e-9
    )
    assert estimate.total("price") == pytest.approx(4 * (3 * bar.each("price") + 2 * hook.each("price")))
    assert (estimate.off, estimate.total("bends")) == (5, 8.0)
    assert quotation_rows(estimate, job.display)[0][-2:] == [
        f"{price:.2f}", f"{12 * price:.2f}",
    ]  # fmt: skip
    # what a customer checks with a pencil: pieces times price is the total of the row, and rows add up to the last
    *rows, last = quotation_rows(estimate, job.display)
    of_rows = [round(4 * int(row[1]) * float(row[-2]), 2) for row in rows]
    assert of_rows == [float(row[-1]) for row in rows] and round(sum(of_rows), 2) == float(last[-1])


def test_of_picked_tubes_only_those_count():
    job = Job.of_tubes(hooks(), shop_from_text(SHOP), settings=Settings(runs=("BAR-[12]",)))
    estimate = quotation(job)
    (bar,) = estimate.parts
    assert (bar.off, bar.part.quantity, estimate.off) == (2, 3, 2)
    assert estimate.total("stick") == pytest.approx(1000.0)
    row = next(csv.DictReader(io.StringIO(quotation_csv(estimate, job.display))))
    assert (row["quantity"], row["names"]) == ("2", "BAR-1, BAR-2")


def test_three_documents_agree_about_parts():
    job = Job.of_tubes(hooks(), shop_from_text(SHOP))
    estimate = quotation(job, 3)
    document = quotation_document(job, estimate)
    assert [(tube["tube"], tube["part"], tube["quantity"], tube["turned"]) for tube in document["tubes"]] == [
        ("BAR-0", "BAR", 3, False), ("HOOK-1", "HOOK", 2, False), ("BAR-1", "BAR", 3, False),
        ("BAR-2", "BAR", 3, False), ("HOOK-2", "HOOK", 2, True),
    ]  # fmt: skip
    for what, whole in document["total"].items():
        of_tubes = 3 * sum(tube[what] for tube in document["tubes"])
        assert whole == pytest.approx(of_tubes) == pytest.approx(sum(part["total"][what] for part in document["parts"]))
    rows = list(csv.DictReader(io.StringIO(quotation_csv(estimate, job.display))))
    shown = quotation_rows(estimate, job.display)
    for row, part, cells in zip(rows, document["parts"], shown, strict=False):
        assert row["part"] == part["part"] == cells[0] and row["names"] == ", ".join(part["tubes"])
        assert float(row["price"]) == pytest.approx(part["each"]["price"], abs=1e-4)
        assert float(row["total_price"]) == pytest.approx(part["total"]["price"], abs=1e-4)
        assert float(row["total_price"]) == pytest.approx(
            int(row["quantity"]) * int(row["jobs"]) * float(row["price"]), abs=1e-3
        )
        assert float(row["total_minutes"]) == pytest.approx(part["total"]["minutes"], abs=1e-4)
        assert float(cells[-1]) == pytest.approx(part["total"]["price"], abs=0.006)


def test_what_has_no_rate_is_not_counted_and_said():
    bare = (
        SHOP.replace("minutes_per_bend = 2.5\n", "").replace("hour = 90\n", "").replace("per_metre = 6", "per_kg = 6")
    )
    bare = bare.replace('metal = "mild steel"\nper_kg = 2', 'metal = "brass"\nper_kg = 2')
    estimate = quotation(Job.of_tubes(tubes(), shop_from_text(bare)))
    assert (estimate.unrated, estimate.unpriced, estimate.no_hour) == (("bend",), ("BAR",), True)
    assert [line.price for line in estimate.lines] == [None, None, None]
    text = " ".join(estimate.notes)
    assert "no rate for it under [rates]: bends." in text and "fits BAR, so" in text and "no hour" in text
    nothing = quotation(Job.of_tubes(tubes(), shop_from_text(SHOP[: SHOP.index("[rates]")])))
    assert nothing.total("minutes") is None and nothing.total("price") is None
    assert nothing.unrated == ("tube", "cut", "cope", "bend", "weld")


def test_what_nothing_is_known_of_is_no_column_of_dashes():
    from converter.cli.screens.quote import quotation_text

    for shop, there in ((SHOP, True), (SHOP[: SHOP.index("[rates]")], False)):
        job = Job.of_tubes(tubes(), shop_from_text(shop))
        text = quotation_text(job, quotation(job))
        assert (" minutes " in text, " work " in text) == (there, there) and "cut length" in text
        assert not re.search(r"(\s-){3}", text)


def test_units_of_rates():
    """30 minutes a metre is 9.144 a foot; 2 a kg is 0.90718474 a lb; 6 a metre is 1.8288 a foot: exact factors."""
    inches = SHOP.replace("minutes_per_metre_of_weld = 30", "minutes_per_foot_of_weld = 9.144")
    inches = inches.replace("per_kg = 2", "per_lb = 0.90718474").replace("per_metre = 6", "per_foot = 1.8288")
    one, two = (quotation(Job.of_tubes(tubes(), shop_from_text(text))).total for text in (SHOP, inches))
    for what in ("minutes", "metal_price", "price"):
        assert one(what) == pytest.approx(two(what), rel=1e-12)


def test_the_nearest_price():
    shop = shop_from_text(SHOP)
    assert price_for(shop, ROUND, "Mild Steel").per_mm == pytest.approx(0.006)
    assert price_for(shop, ROUND, None).per_mm == pytest.approx(0.006)
    assert price_for(shop, Section("round", 40.0, 2.0), "mild steel").per_kg == 2.0
    assert price_for(shop, None, "brass") is None
    assert price_for(shop, Section("round", 40.0, 2.0), "A36").per_kg == 2.0  # another name of mild steel


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("per_kg = 2", "per_kg = 2\nper_lb = 1", r"price\[1\].*per_kg and per_lb: give exactly one"),
        ("per_kg = 2\n", "", r"price\[1\].*no amount"),
        ("hour = 90", "hour = -1", r"rates.hour must be a number of zero or more"),
        ("hour = 90", 'hour = "much"', r"rates.hour must be a number"),
        ("minutes_per_metre_of_weld = 30", "minutes_per_metre_of_weld = 1\nminutes_per_foot_of_weld = 1", "give one"),
        ("per_kg = 2", "per_kg = nan", r"per_kg must be a number above zero"),
    ],
)
def test_contradictions_are_refused(old, new, says):
    with pytest.raises(ShopError, match=says):
        shop_from_text(SHOP.replace(old, new))


@pytest.fixture
def drawing(tmp_path):
    document = ezdxf.new(units=4)
    document.modelspace().add_line((0, 0), (1000, 0), dxfattribs={"layer": "+POST"})
    document.saveas(tmp_path / "x.dxf")
    (tmp_path / "shop.toml").write_text(SHOP)
    return tmp_path / "x.dxf", "--shop", tmp_path / "shop.toml", "--section", "40x3mm", "--metal", "mild steel"


def test_the_command_shows_it_three_ways(drawing, capsys, tmp_path):
    text = " ".join(run(capsys, "quote", *drawing, "--jobs", "3").out.split())
    assert "Quotation, estimated rates of Shed; prices in EUR" in text
    assert "all x 3 3 3000.00" in text and "18.00" in text and "An estimate from the shop file's rates." in text
    document = run(capsys, "quote", *drawing, "--jobs", "3", "--json").json
    assert (document["schema"], document["estimate"]) == ("elbowroom/quote/1", True)
    assert document["total"]["metal_price"] == pytest.approx(18.0)
    rows = list(csv.DictReader(io.StringIO(run(capsys, "quote", *drawing, "--csv").out)))
    assert (
        rows[0]["part"] == "'+POST"
        and rows[0]["quantity"] == "1"
        and float(rows[0]["metal_price"]) == pytest.approx(6.0)
    )
    assert run(capsys, "convert", *drawing, "--out", tmp_path / "out", "--to", "quote-csv").status == 0
    written = (tmp_path / "out" / "x-quote.csv").read_bytes()
    assert written.count(b"\r\n") == 2
    assert list(csv.DictReader(io.StringIO(written.decode()))) == rows


def test_what_cannot_be_asked(drawing, capsys):
    both = run(capsys, "quote", *drawing, "--csv", "--json")
    assert both.status == 2 and "--json and --csv" in one_sentence(both.err)
    assert "--jobs" in failed(run(capsys, "quote", *drawing, "--jobs", "0"))


def test_what_cannot_be_made_as_drawn_is_named_wherever_it_is_counted(tmp_path, capsys):
    """A hook of 60 mm radius on a die of 100: the audit's verdict stands on list, quotation and sheets, too."""
    hook(tmp_path / "hook.dxf", radius=60.0)
    (tmp_path / "shop.toml").write_text(SHOP + '[[stock]]\nsection = "40x3mm"\nlength = 6000\n')
    given = [tmp_path / "hook.dxf", "--shop", tmp_path / "shop.toml", "--section", "40x3mm"]
    said = "'TUBE' cannot be made as drawn, and is counted here all the same"
    assert run(capsys, "audit", *given).status == 1
    for command in ("quote", "cutlist"):
        text = run(capsys, command, *given)
        assert text.status == 1 and " ".join(text.out.split()).count(said) == 1
        table = run(capsys, command, *given, "--csv")
        assert table.status == 1 and said in " ".join(table.err.split())
        found = [one for one in run(capsys, command, *given, "--json").json["findings"] if one["severity"] == "error"]
        assert [one["code"] for one in found] == ["part-refused"]
    run(capsys, "sheet", *given, "--quote", "--out", tmp_path)
    pages = [" ".join(page.extract_text().split()) for page in PdfReader(tmp_path / "hook-sheet.pdf").pages]
    assert [said in page for page in pages if "Cutting list" in page or "quotation, estimated" in page] == [True, True]
    html = unescape((tmp_path / "hook-sheet.html").read_text(encoding="utf-8"))
    assert html.count(said) == 2
    assert said not in run(capsys, "quote", *given, "--refit").out
