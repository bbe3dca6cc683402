"""One template or profile for equal tubes: it says for how many, and names every tube or end that is cut by it."""

from __future__ import annotations

import ezdxf
from copes import straight
from frames import RUNG, hoop
from jobs import job_of, write_job
from pypdf import PdfReader

from converter.exporters.options import WriteOptions
from converter.exporters.paper.templates import templates_of
from converter.exporters.sheet.content import job_sheet
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.settings import Settings


def ladder(**settings):
    """Two hoops with three equal rungs, one of them drawn from the other end and set off on one hoop."""
    ends = [((300, 0, 600), (340, 400, 600)), ((560, 400, 600), (520, 0, 600)), ((400, 0, 600), (440, 400, 600))]
    rungs = [straight(f"RUNG-{i}", *end, RUNG) for i, end in enumerate(ends)]
    tubes = [hoop("HOOP-0", 0.0, 0.0), hoop("HOOP-1", 0.0, 400.0), *rungs]
    return job_of(tubes, settings=Settings(unit="mm", **settings))


def test_cope_templates_serve_all_equal_ends():
    job = ladder()
    assert [(part.name, part.quantity) for part in job.parts] == [("HOOP", 2), ("RUNG", 3)]
    templates = templates_of(job, WriteOptions())
    assert [one.title for one in templates] == ["RUNG-0 end A, 3 off", "RUNG-0 end B, 3 off"]
    assert templates[0].facts[0] == "For RUNG-0 end A, RUNG-1 end A, RUNG-2 end A."
    # every end that is cut stands on one of them
    named = " ".join(one.facts[0] for one in templates)
    assert all(f"{joint.tube} end {joint.end}" in named for joint in job.joints)


def test_templates_of_picked_tubes_name_only_those():
    templates = templates_of(ladder(runs=("RUNG-[12]",)), WriteOptions())
    assert [one.title for one in templates] == ["RUNG-1 end A, 2 off, of 3", "RUNG-1 end B, 2 off, of 3"]
    assert "RUNG-0" not in " ".join(fact for one in templates for fact in one.facts)


def test_one_stick_template_for_equal_tubes(tmp_path):
    (path,) = write_job(ladder(), tmp_path, ["template"])
    texts = [text.dxf.text for text in ezdxf.readfile(path).modelspace().query("TEXT")]
    headings = [text for text in texts if "stick template" in text]
    assert headings == [
        "HOOP, 2 off, not to be made as drawn: stick template, full size",
        "RUNG, 3 off: stick template, full size",
    ]
    assert "RUNG-0, RUNG-1, RUNG-2" in texts and "HOOP-0, HOOP-1" in texts


def test_the_sheet_has_a_page_for_every_part():
    page = job_sheet([ladder()])
    assert [(part.key, part.title, part.count) for part in page.parts] == [
        ("part-1", "HOOP, 2 off", 2), ("part-2", "RUNG, 3 off", 3),
    ]  # fmt: skip
    hoop, rung = page.parts
    assert dict(rung.facts) == {"Tubes": "RUNG-0, RUNG-1, RUNG-2"}
    assert [piece.tube.name for piece in rung.pieces] == ["RUNG-0", "RUNG-1", "RUNG-2"]
    for piece in rung.pieces:
        # the second rung goes from hoop to hoop the other way, and is cut the same
        hoops = ("HOOP-1", "HOOP-0") if piece.tube.name == "RUNG-1" else ("HOOP-0", "HOOP-1")
        assert piece.ends == tuple((end, f"coped to {hoop}") for end, hoop in zip("AB", hoops, strict=True))
    assert not any(piece.ends for piece in hoop.pieces)


def hooks(**settings):
    """Two equal hooks of unequal legs, the second one drawn from its other end; a third that is its own part."""
    there, back = (300.0, 200.0), (200.0, 300.0)
    tubes = []
    for i, (first, last) in enumerate((there, back, (300.0, 210.0))):
        table = BendTable((Bend(first, 0.0, 90.0, 100.0),), last)
        run = Run(
            f"{'HOOK' if i < 2 else 'LONG'}-{i}", None, False, table, Placement((0, 900.0 * i, 0), (1, 0, 0), (0, 1, 0))
        )
        tubes.append(Tube(run, Section("round", 40.0, 3.0)))
    return job_of(tubes, settings=Settings(unit="mm", **settings))


TURNED = "HOOK-0; drawn from the other end, so that end A is end B here: HOOK-1"


def test_one_flat_profile_for_equal_tubes(tmp_path):
    (path,) = write_job(hooks(), tmp_path, ["profile"])
    texts = [text.dxf.text for text in ezdxf.readfile(path).modelspace().query("TEXT")]
    headings = [text for text in texts if "flat profile" in text]
    assert headings == [
        "HOOK, 2 off: bend 1 of 1, flat profile, full size",
        "LONG-2: bend 1 of 1, flat profile, full size",
    ]
    assert TURNED in texts
    # the legs of the first one, from end A, once
    assert (texts.count("300.00"), texts.count("200.00"), texts.count("210.00")) == (2, 1, 1)


def test_one_printed_stick_template_for_equal_tubes(tmp_path):
    (path,) = write_job(hooks(), tmp_path, ["template-pdf"])
    cover, *tiles = [" ".join(page.extract_text().split()) for page in PdfReader(path).pages]
    assert cover.count("HOOK, 2 off") == 1 and TURNED in cover and cover.count("LONG-2") == 1
    of_part = [text for text in tiles if "HOOK, 2 off, not to be made as drawn: tile " in text]
    (alone,) = write_job(hooks(runs=("LONG-2",)), tmp_path / "alone", ["template-pdf"])
    # 10 mm more take no page more
    assert len(tiles) == 2 * len(of_part) == 2 * (len(PdfReader(alone).pages) - 1)
    assert not any("HOOK-1" in text for text in tiles)
