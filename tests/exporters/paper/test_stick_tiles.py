"""The printed stick template, read back from the PDF: tiles laid on one another by their crosses give the whole strip.

Only the print is used for places: every tile is laid on the one before by its crosses; then marks, tangent points and
cuts are measured against ``setup --json`` and against the DXF of the same job.
"""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from math import pi

import ezdxf
import numpy as np
import pytest
from command_line import failed, run
from copes import straight
from frames import RUNG, draw
from jobs import job_of, write_job
from pdf_tools import lines_of, read_pdf
from shapely.geometry import LineString
from test_stick_strip import DIE, PAPER, SHOP, curves, twisted, with_mates

from converter.errors import WriteError
from converter.exporters.data.setup_json import setup_document
from converter.exporters.pdf.stick_template import BORDER, CROSSES, JOIN, OVERLAP, PENS, TRIM_HERE
from converter.exporters.sheet.revision import revision_of
from converter.model.section import Section
from converter.shop.model import Die, Shop
from converter.units import Display


def lines(page, layer):
    return lines_of(page, PENS[layer])


def printed(folder, tubes, shop=SHOP, **how):
    options = {name: how.pop(name) for name in ("paper", "paper_thickness") if name in how}
    job = job_of(tubes, shop=shop, **how)
    paths = write_job(job, folder / "out", ["template", "template-pdf"], **options)
    return job, ezdxf.readfile(paths[0]), read_pdf(paths[1])


def longer(tube):
    """Its table with a longer tail."""
    return replace(tube.run.table, tail=tube.run.table.tail + 150.0)


def tile_pages(pages):
    return [page for page in pages if ": tile " in page.text]


def number_of(page):
    """Number of the tile on a page, and how many there are."""
    number, count = re.search(r": tile (\d+) of (\d+)", page.text).groups()
    return int(number), int(count)


def crosses(page):
    """Middles of the crosses, each once."""
    arms = lines(page, CROSSES)
    return np.unique(np.round([(arm[0] + arm[1]) / 2.0 for arm in arms], 5), axis=0) if arms else np.zeros((0, 2))


def shifts(tiles):
    """What is added to places on every tile to lay it on the first, for tiles in one row.

    Over a tile that is left out, by as much more as from any tile to the next.
    """
    moves = {}
    for before, after in pairwise(tiles):
        if number_of(after)[0] - number_of(before)[0] == 1:
            a, b = crosses(before), crosses(after)
            right, left = a[a[:, 0] == a[:, 0].max()], b[b[:, 0] == b[:, 0].min()]
            move = right[0] - left[0]
            assert np.abs(right - (left + move)).max() < 1e-4 and len(right) >= 3
            moves[number_of(after)[0]] = move
    found = [np.zeros(2)]
    for before, after in pairwise(tiles):
        first, last = number_of(before)[0], number_of(after)[0]
        found.append(found[-1] + (moves[last] if last - first == 1 else (last - first) * next(iter(moves.values()))))
    return found


def whole(tiles, layer):
    """Every line of a layer, laid together; those on the overlap come twice."""
    return [points + shift for page, shift in zip(tiles, shifts(tiles), strict=True) for points in lines(page, layer)]


def upright_places(found):
    """Different x of lines across the strip."""
    xs = sorted(points[0, 0] for points in found if np.ptp(points[:, 0]) < 1e-4 and np.ptp(points[:, 1]) > 20.0)
    return [x for i, x in enumerate(xs) if not i or x - xs[i - 1] > 1e-3]


@pytest.mark.parametrize("end", ["A", "B"])
@pytest.mark.parametrize(("display", "paper"), [(Display(), "A4"), (Display("in"), "Letter")])
def test_the_tiles_laid_together_are_the_stick_of_the_set_up(tmp_path, end, display, paper):
    job, doc, pages = printed(tmp_path, with_mates(twisted()), display=display, feed_from=end, paper=paper)
    tiles = tile_pages(pages)
    assert len(tiles) > 4
    tube = setup_document("", "", job.setups)["tubes"][0]
    left, right = upright_places(whole(tiles, "cut"))
    assert right - left == pytest.approx(tube["stick_length"], abs=2e-4)
    marks = upright_places(whole(tiles, "die-marks"))
    from_fed = [x - left if end == "A" else right - x for x in marks]
    assert sorted(from_fed) == pytest.approx(sorted(bend["mark"] for bend in tube["bends"]), abs=1e-4)
    tangents = upright_places(whole(tiles, "tangent-start"))  # one pen for start and end
    from_fed = [x - left if end == "A" else right - x for x in tangents]
    wanted = [b["start"] + part for b in tube["bends"] for part in (0.0, b["arc"])]
    assert sorted(from_fed) == pytest.approx(sorted(wanted), abs=1e-4)
    heights = [points[0, 1] for points in whole(tiles, "sheet-edge")]
    assert max(heights) - min(heights) == pytest.approx(pi * (RUNG.od + PAPER), abs=1e-4)
    # the cuts: those of the drawing, on which they lie on their mates
    k = 25.4 if display.unit == "in" else 1.0
    top = max(e.dxf.start.y * k for e in doc.modelspace().query('LINE[layer=="sheet-edge"]'))
    drawn = [c for c in curves(doc, k) if len(c) > 50 and c[:, 1].max() <= top + 1e-6 and c[:, 1].min() > top - 150.0]
    assert len(drawn) == 2
    for points in drawn:
        here = LineString(points + np.array([left + tube["extra_a"], max(heights) - top]))
        pieces = [one for one in whole(tiles, "cope-cut") if len(one) > 2 and here.distance(LineString(one)) < 1.0]
        assert sum(LineString(one).length for one in pieces) >= here.length - 1e-3
        assert all(here.buffer(1e-4).covers(LineString(one)) for one in pieces)


def test_a_wide_strip_goes_over_rows_too(tmp_path):
    section = Section("round", 114.3, 4.0)
    shop = Shop("yard", (Die("R200", "round", 114.3, 150.0, mark_offset=20.0),), source=__file__)
    _, _, pages = printed(tmp_path, [twisted(section)], shop=shop)
    tiles = tile_pages(pages)
    rows = [page for page in tiles if "from here down" in page.text or "from here" not in page.text]
    assert rows and len(tiles) > 6
    text = " ".join(" ".join(page.text.split()) for page in tiles)
    numbers = [number_of(page)[0] for page in tiles]
    left_out = set(range(1, number_of(tiles[0])[1] + 1)) - set(numbers)
    cover = " ".join(pages[0].text.split())
    assert left_out and f"Tiles {', '.join(map(str, sorted(left_out)))} (dashed): left out" in cover
    assert {int(n) for n in re.findall(r"nothing is marked on tile (\d+): left out", text)} <= left_out
    # both sides of every join name one another: as many cut here as go on elsewhere
    assert text.count("cut here, lay on tile") == text.count("from here on") + text.count("from here down")
    # each level join has the crosses at the same places of the strip, 40 mm apart
    for page in tiles:
        for line in lines(page, TRIM_HERE) + lines(page, JOIN):
            if np.ptp(line[:, 0]) < 1e-3 and ("left out" in page.text or "cut here and lay" in page.text):
                continue  # beside a tile that is left out there is nothing to meet
            on = [c for c in crosses(page) if np.abs(c - line).min() < 1e-3 or _on(line, c)]
            assert on


def _on(line, point):
    return LineString(line).distance(LineString([point, point + 1e-9])) < 1e-3


@pytest.mark.parametrize(("display", "size"), [(Display(), (210.0, 297.0)), (Display("in"), (215.9, 279.4))])
def test_every_page_is_of_its_size_within_its_border_and_names_itself(tmp_path, display, size):
    job, _, pages = printed(tmp_path, with_mates(twisted()), display=display)
    mark = revision_of([job]).mark
    for number, page in enumerate(pages, 1):
        assert sorted(page.size) == pytest.approx(sorted(size), abs=1e-3)
        text = " ".join(page.text.split())
        assert f"page {number} of {len(pages)}" in text and f"mark {mark}" in text
        assert "job part" in text and "date " in text
        every = np.concatenate([np.array(s.points) for s in page.strokes])
        assert every.min() >= BORDER - 0.01 and (every.max(axis=0) <= np.array(page.size) - BORDER + 0.01).all()
        assert min(page.type_sizes) >= 7.5
        bar = [p for p in lines(page, "scale") if np.ptp(p[:, 1]) < 1e-4]
        assert max(np.ptp(p[:, 0]) for p in bar) == pytest.approx(100.0 if display.unit == "mm" else 101.6, abs=1e-4)
    tiles = tile_pages(pages)
    numbers = {number_of(page)[0] for page in tiles}
    count = number_of(tiles[0])[1]
    assert 1 in numbers and count in numbers
    for page in tiles:
        number, _ = number_of(page)
        assert "RAIL-3" in page.text
        assert (f"cut here, lay on tile {number - 1}" in page.text) == (number - 1 in numbers)
        assert (f"tile {number + 1} from here on" in page.text) == (number + 1 in numbers)
        assert (f"nothing is marked on tile {number + 1}: left out" in page.text) == (
            number < count and number + 1 not in numbers
        )


def test_neighbours_overlap_and_meet_in_its_middle(tmp_path):
    _, _, pages = printed(tmp_path, [twisted()])
    tiles = tile_pages(pages)
    moved = shifts(tiles)
    gaps = 0
    for (one, a), (two, b) in pairwise(zip(tiles, moved, strict=True)):
        if number_of(two)[0] - number_of(one)[0] > 1:  # a tile is left out: its line says where it is laid
            words = re.search(r"cut here and lay it ([\d.]+) mm from end A as cut", two.text)
            [here] = [p for p in lines(two, TRIM_HERE) if np.ptp(p[:, 1]) > 50.0]
            start = min(x for points in lines(tiles[0], "cut") for x, _ in points)
            assert float(words[1]) == pytest.approx(here[0, 0] + b[0] - start, abs=0.0051)
            gaps += 1
            continue
        ends = max(p[:, 0].max() for p in lines(one, "sheet-edge")) + a[0]
        begins = min(p[:, 0].min() for p in lines(two, "sheet-edge")) + b[0]
        assert ends - begins == pytest.approx(OVERLAP, abs=1e-4)
        [here] = [p for p in lines(two, TRIM_HERE) if np.ptp(p[:, 1]) > 50.0]
        assert here[0, 0] + b[0] == pytest.approx((ends + begins) / 2.0, abs=1e-4)
    assert gaps == 1


def test_lines_are_as_wide_as_they_matter():
    assert PENS["cope-cut"].width == PENS["cut"].width == max(pen.width for pen in PENS.values())
    assert PENS["cut"].width > PENS["die-marks"].width > PENS["sheet-edge"].width > PENS["tangent-start"].width
    assert PENS["tangent-start"].dash and not PENS["die-marks"].dash


def test_the_first_page_has_the_numbers_of_the_set_up(tmp_path):
    job, _, pages = printed(tmp_path, with_mates(twisted()), feed_from="B")
    text = " ".join(pages[0].text.split())
    for step in job.setups[0].steps:
        assert f"{step.mark:.2f}" in text and f"{step.stop:.2f}°" in text and f"{step.start:.2f}" in text
    assert "MATE-A and MATE-B" in text and "Without a bend" in text
    tiles = tile_pages(pages)
    assert f"tiles 1 to {number_of(tiles[0])[1]}, pages 2 to {len(pages)}" in text
    assert "Distances run from end B, which goes first" in text


def test_what_holds_for_every_strip_stands_once_before_them(tmp_path):
    first, other = twisted(), replace(twisted(), run=replace(twisted().run, name="OTHER", table=longer(twisted())))
    job, _, pages = printed(tmp_path, [first, other])
    assert len(job.parts) == 2
    text = " ".join(" ".join(page.text.split()) for page in pages if page not in tile_pages(pages))
    for words in ("Wrap it around", "Heavy lines across", "Distances run from end"):
        assert text.count(words) == 1 and text.index(words) < text.index("tiles 1 to")
    assert text.count("Where tiles of a strip are left out") == (": left out" in text)
    _, _, alone = printed(tmp_path / "alone", [first])
    assert " ".join(alone[0].text.split()).count("Wrap it around") == 1


def test_labels_of_the_tiles_stand_on_one_tile_whole(tmp_path):
    _, _, pages = printed(tmp_path, [twisted()])
    text = " ".join(" ".join(page.text.split()) for page in tile_pages(pages))
    for n in (1, 2, 3):
        assert f"die mark {n}" in text
        assert text.count(f"tangent point, bend {n}") >= 2
        assert f"outside of bend {n}" in text or f"out {n}" in text


def test_straights_alone_are_nothing_to_print(tmp_path):
    job = job_of([straight("RUNG", (0.0, 0.0, 0.0), (0.0, 0.0, 300.0), RUNG)])
    with pytest.raises(WriteError, match="has a bend, so there is no stick template to print"):
        write_job(job, tmp_path / "out", ["template-pdf"])
    assert not (tmp_path / "out").exists() or not list((tmp_path / "out").iterdir())
    assert write_job(job, tmp_path / "both", ["csv", "template-pdf"])


def test_convert_takes_paper_and_its_thickness(tmp_path, capsys):
    drawing = draw([twisted()], tmp_path / "part.dxf")
    given = ("convert", drawing, "--section", "38.1x2.413mm", "--to", "template-pdf,template")
    out = tmp_path / "out"
    run(capsys, *given, "--out", out, "--paper", "Letter", "--paper-thickness", "0.3mm")
    page = read_pdf(out / "part-template.pdf")[0]
    assert page.size == pytest.approx((215.9, 279.4), abs=1e-3)
    doc = ezdxf.readfile(out / "part-template.dxf")
    ys = [e.dxf.start.y for e in doc.modelspace().query('LINE[layer=="sheet-edge"]')]
    assert max(ys) - min(ys) == pytest.approx(pi * (38.1 + 0.3), abs=1e-9)
    assert "paper" in failed(run(capsys, *given, "--out", tmp_path / "no", "--paper", "A3")).lower()
    assert "thickness" in failed(run(capsys, *given, "--out", tmp_path / "no", "--paper-thickness", "9mm")).lower()
    assert not (tmp_path / "no").exists()


def test_a_die_of_another_tube_gives_no_marks(tmp_path):
    shop = Shop("yard", (DIE,), source=__file__)
    _, _, pages = printed(tmp_path, [twisted(Section("round", 25.0, 2.0))], shop=shop)
    text = " ".join(pages[0].text.split())
    assert "lines across are tangent points, not marks for a die" in text
    assert not any(lines(page, "die-marks") for page in pages)
