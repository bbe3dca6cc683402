"""Labels of the sheet's pictures as Chromium draws them: their boxes measured there, on thirty random jobs at once."""

from __future__ import annotations

from html import escape

import pytest
from random_drawings import random_drawing
from sheet_tools import context_of

from converter.exporters.pictures.drawing.view import drawing_picture
from converter.exporters.pictures.run.picture import isometric_picture
from converter.exporters.sheet.html import DRAWING_SIZE, PART_SIZES, picture_style
from converter.exporters.sheet.squeeze import squeezed
from converter.job import open_job
from converter.settings import Settings
from converter.units import in_unit

#: Pairs of level texts of a picture that overlap, and texts that leave it. Of a box the letters take the middle: above
#: and below is what accents and descenders may need.
OVERLAPS = """() => [...document.querySelectorAll('svg.picture')].flatMap((picture, number) => {
  const room = picture.getBoundingClientRect(), amiss = [], boxes = [];
  for (const text of picture.querySelectorAll('text:not([transform])')) {
    const box = text.getBoundingClientRect(), trim = box.height * 0.22;
    const { left, right } = box, top = box.top + trim, bottom = box.bottom - trim;
    boxes.push({ text: text.textContent, left, right, top, bottom });
    if (left < room.left - 1 || right > room.right + 1) amiss.push([number, 'leaves', text.textContent]);
  }
  boxes.forEach((a, i) => boxes.slice(0, i).forEach((b) => {
    const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const tall = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (wide > 0.5 && tall > 0.5) amiss.push([number, a.text, b.text]);
  }));
  return amiss;
})"""


def page_of_pictures(svgs: list[str]) -> str:
    return f"<!DOCTYPE html><style>:root{{--paper:#fff}}{picture_style()}svg{{width:1000px}}</style>{''.join(svgs)}"


@pytest.mark.slow
def test_labels_of_thirty_random_jobs_overlap_nowhere_in_the_browser(chromium, tmp_path):
    svgs = []
    for seed in range(30):
        settings = Settings(sections=("38.1x2.4mm",), clr="110mm")
        job = open_job(str(random_drawing(tmp_path / f"{seed}.dxf", seed)), settings)
        bent = max(job.tubes, key=lambda tube: len(tube.run.table.bends))
        size = next(size for most, size in PART_SIZES if len(bent.run.table.bends) <= most)
        pictures = [
            isometric_picture(bent, job.display, size=size),
            drawing_picture(job.drawing, job.tubes, job.findings, job.display, size=DRAWING_SIZE, legend=False),
        ]
        svgs += [squeezed(one, f"p{len(svgs)}", lambda text: ("", escape(in_unit(text, "mm")))) for one in pictures]
    context = context_of(chromium, viewport={"width": 1040, "height": 900})
    page = context.new_page()
    page.set_content(page_of_pictures(svgs))
    assert page.locator("svg.picture text").count() > 600
    assert page.evaluate(OVERLAPS) == []
    # the measure sees what overlaps
    page.eval_on_selector_all(
        "svg.picture:first-of-type text", "all => all.forEach((one) => one.setAttribute('x', 40))"
    )
    page.eval_on_selector_all(
        "svg.picture:first-of-type text", "all => all.forEach((one) => one.setAttribute('y', 40))"
    )
    assert len(page.evaluate(OVERLAPS)) > 1
    context.close()
