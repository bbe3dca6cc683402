"""The HTML job sheet in a real browser: what people see, tick, turn, print and hear."""

from __future__ import annotations

import io
import re
import time
from contextlib import contextmanager
from dataclasses import replace
from itertools import cycle
from math import ceil
from pathlib import Path
from typing import Any
from unicodedata import normalize

import pytest
from many_tubes import different_tubes
from sheet_tools import (
    EVIL,
    HOSTILE,
    PATIENCE,
    TUBE,
    context_of,
    demo_job,
    hostile_job,
    job_of,
    opened,
    shop,
    tube_named,
    views_of,
    written,
)

from converter.bending.setup.words import SetupView, turn_words
from converter.exporters.pictures.views import axes_of
from converter.job import Job
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.units import Display
from converter.words import stop_text

PHONE = {"width": 360, "height": 740}
TABLET = {"width": 820, "height": 1180}
DESK = {"width": 1280, "height": 900}
#: Texts with a number and a unit that a person sees, in document order.
SEEN = """() => {
  const found = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const node = walk.currentNode, at = node.parentElement;
    if (at.closest("script, style, title, desc, noscript, [data-live]")) continue;
    if (at.closest("template, select")) continue;
    if (/\\d/.test(node.textContent)) found.push(node.textContent.trim());
  }
  return found;
}"""
LENGTH = re.compile(r"(?<![\w.])(-?\d[\d./-]*)[ \u00a0](mm|in|kg|lb)\b")
#: How many numbers are held to what they belong to, and those of them that stand on two lines.
TORN = """() => {
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), torn = [];
  let held = 0;
  const lines = (node, from, to) => {
    const range = document.createRange();
    range.setStart(node, from);
    range.setEnd(node, to);
    return [...range.getClientRects()].filter(one => one.width > 0);
  };
  while (walk.nextNode()) {
    const node = walk.currentNode, text = node.textContent;
    const at = node.parentElement;
    if (at.closest("script, style, noscript, svg, bdi, template, select") || !at.checkVisibility()) continue;
    for (const one of text.matchAll(/[^\\s]+(?:\\u00a0[^\\s]+)+|\\d[\\d.\\/-]*[°~?]*/g)) {
      let rects = lines(node, one.index, one.index + one[0].length);
      const before = node.previousSibling;
      if (!one.index && before?.classList?.contains("nb")) rects = rects.concat([...before.getClientRects()]);
      if (!rects.length) continue;
      held += 1;
      if (Math.max(...rects.map(r => r.top)) - Math.min(...rects.map(r => r.top)) > 8) torn.push(text);
    }
    const before = node.previousSibling;
    if (/^\\u00a0/.test(text) && before?.classList?.contains("nb")) {
      const [a] = before.getClientRects(), [b] = lines(node, 0, 2);
      if (a && b && Math.abs(a.top - b.top) > 8) torn.push(before.textContent + text);
    }
  }
  return [held, torn];
}"""
#: Two frames of the page, or a second where it draws none: a promise has no other end.
FRAMES = """() => new Promise(done => {
  requestAnimationFrame(() => requestAnimationFrame(done));
  setTimeout(done, 1000);
})"""
#: Shows everything at once.
ALL = "[hidden].big { display: list-item !important } .part { content-visibility: visible !important }"


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> tuple[Job, Path]:
    folder = tmp_path_factory.mktemp("demo")
    job = demo_job(folder / "in")
    return job, written(job, folder / "out")


@pytest.fixture(scope="module")
def desk(chromium, demo):
    """The demo's sheet on a desk, opened once: a test leaves it as it was, or works on a run of its own."""
    with opened(chromium, demo[1], viewport=DESK, reduced_motion="reduce") as page:
        yield page


@pytest.fixture(scope="module")
def phone(chromium, demo):
    """The same on a phone."""
    with opened(chromium, demo[1], viewport=PHONE, reduced_motion="reduce") as page:
        yield page


@contextmanager
def everything(page):
    """All steps and runs laid out, for checks that must not depend on what is scrolled to."""
    tag = page.add_style_tag(content=ALL)
    yield
    tag.evaluate("tag => tag.remove()")


@pytest.fixture(scope="module")
def hostile(tmp_path_factory) -> Path:
    return written(hostile_job(), tmp_path_factory.mktemp("hostile"))


def alive(page: Any) -> list[str]:
    return page.eval_on_selector_all(".stage[data-alive]", "all => all.map(e => e.dataset.view)")


def until(page: Any, condition: str) -> None:
    """Wait for a condition in the page; its policy forbids the browser driver's own way of waiting."""
    end = time.monotonic() + PATIENCE
    while not page.evaluate(condition):
        if time.monotonic() > end:
            pytest.fail(f"never came true: {condition}")
        page.wait_for_timeout(50)


def settled(page: Any, expression: str) -> Any:
    """What an expression gives once it stays the same over some frames of the page."""
    end = time.monotonic() + PATIENCE
    before, now = None, page.evaluate(expression)
    while before != now:
        if time.monotonic() > end:
            pytest.fail(f"never came to rest: {expression}")
        page.evaluate(FRAMES)
        page.wait_for_timeout(150)
        before, now = now, page.evaluate(expression)
    return now


#: Whether the page has put everything in its place.
READY = "document.querySelectorAll('ol.steps:empty').length === 0 && stages.room !== null"


def wait_for_view(page: Any, selector: str) -> None:
    page.eval_on_selector(selector, "e => e.scrollIntoView({block: 'center', behavior: 'instant'})")
    page.wait_for_selector(f"{selector}[data-alive] canvas")


def test_it_opens_and_draws(desk, demo):
    """No error, nothing fetched (held by `opened`); the whole job in 3D, its numbers as in the list."""
    job, _ = demo
    page = desk
    wait_for_view(page, ".whole .stage")
    labels = page.locator(".whole .annotation-text").all_text_contents()
    assert labels == [str(i) for i, part in enumerate(job.parts, 1) for _ in part.tubes]
    assert page.title() == "Boathouse: dock ladder and kayak trolley – job sheet"
    assert page.locator("table.list tbody tr").count() == len(job.parts)
    wait_for_view(page, "#part-7 .stage[data-view=tube]")
    labels = page.locator("#part-7 .look .annotation-text").all_text_contents()
    assert sorted(labels) == ["1 ✖ too tight", "2", "A", "B", "stick travels"]


@pytest.mark.slow
def test_pointing_at_a_tube_names_it_and_pressing_goes_there(desk):
    """The middle of a rung, found through the view's own camera by its number."""
    page = desk
    wait_for_view(page, ".whole .stage")
    labels = "[...document.querySelectorAll('.whole .annotation-text')]"
    settled(page, f"{labels}.map(e => e.getBoundingClientRect()).map(box => [box.x, box.y])")
    box = page.locator(".whole .annotation-text", has_text=re.compile("^3$")).nth(1).bounding_box()
    at = (box["x"] + box["width"] / 2.0, box["y"] + box["height"] / 2.0)
    # along the rung, beside its label
    end = time.monotonic() + PATIENCE
    for dx, dy in cycle(((22, 7), (26, 9), (-22, -7), (-26, -9))):
        page.mouse.move(at[0] + dx, at[1] + dy)
        page.wait_for_timeout(150)
        if "RUNG-2" in page.locator(".under").inner_text() or time.monotonic() > end:
            break
    assert page.locator(".under").inner_text() == "RUNG-2: RUNG, 3 off"
    page.mouse.click(at[0] + dx, at[1] + dy)
    until(page, "location.hash === '#part-3'")


def test_the_slider_steps_through_every_bend(desk, demo):
    """Each step's line: mark, turn and stop as Python rounds them, said aloud, with buttons and arrow keys."""
    job, _ = demo
    setup = job.setups[0]
    sheet = SetupView(setup, Display("in"))
    page = desk
    bench = page.locator("#part-1 .bender")
    wait_for_view(page, "#part-1 .stage[data-view=bender]")
    slider = bench.locator("input[type=range]")
    assert slider.get_attribute("max") == str(len(setup.steps)) == "3"
    assert bench.locator(".big:visible h4").inner_text() == "Cut and mark"
    for i, step in enumerate(setup.steps, 1):
        if i == 2:
            slider.focus()
            page.keyboard.press("ArrowRight")
        else:
            bench.get_by_role("button", name="Next").click()
        values = [
            text.replace("\u00a0", " ") for text in bench.locator(".big:visible .value:visible").all_inner_texts()
        ]
        assert bench.locator(".big:visible h4").inner_text() == f"Bend {step.bend}"
        assert Display("in").length(sheet.mark("A", step)) in values
        assert stop_text(step, Display("in")) in values
        if abs(step.roll) == 90.0:
            assert f"90.00° {turn_words(step.roll)}" in values
        live = bench.locator("[data-live]").text_content().replace("\u00a0", " ")
        assert f"Bend {step.bend}" in live and Display("in").length(sheet.mark("A", step)) in live
        assert slider.get_attribute("aria-valuetext") == f"Bend {step.bend}, step {i} of 3"
        labels = bench.locator(".annotation-text").all_text_contents()
        assert f"mark {step.bend}" in labels and "bend plane" in labels and {"floor", "floor ▼"} & set(labels)
        made = {str(one.bend) for one in setup.steps[:i]}
        assert made == {label for label in labels if label.isdigit()}
    assert bench.get_by_role("button", name="Next").get_attribute("aria-disabled") == "true"
    bench.get_by_role("button", name="Back").focus()
    page.keyboard.press("ArrowLeft")
    assert slider.input_value() == "2"


#: Texts of pictures that reach beyond their picture, and boxes whose text does.
CLIPPED = """() => {
  const out = [];
  for (const text of document.querySelectorAll("svg.picture text")) {
    const room = text.ownerSVGElement.getBoundingClientRect(), box = text.getBoundingClientRect();
    const over = [room.left - box.left, box.right - room.right, room.top - box.top, box.bottom - room.bottom];
    if (box.width && Math.max(...over) > 1) out.push(text.textContent);
  }
  for (const box of document.querySelectorAll("button, .button, th, td, dd, dt, h1, h2, h3, h4, p, label, select")) {
    const shows = box.checkVisibility() && box.clientWidth > 1 && getComputedStyle(box).display !== "inline";
    if (shows && box.scrollWidth > box.clientWidth + 1) out.push([box.tagName, box.textContent.slice(0, 40)]);
  }
  return out;
}"""


@pytest.mark.slow
@pytest.mark.parametrize("wide", [390, 720, 820, 1440])
def test_no_number_leaves_its_unit_its_fraction_or_its_name(chromium, tmp_path, wide):
    """Eight bends in sixteenths, the longest of numbers, every step shown: held together, and nothing is clipped.

    At 820 px, a tablet held upright, the set-up table has all its columns in sight; 720 px is 1440 at 200 % zoom.
    """
    tubes = [*different_tubes(1), tube_named("short", at=5000.0)]
    path = written(job_of(tubes, shop(), unit="in"), tmp_path)
    with opened(chromium, path, viewport={"width": wide, "height": 1000}) as page, everything(page):
        until(page, READY)
        page.select_option("#rounding", label="1/16 in")
        held, torn = page.evaluate(TORN)
        assert page.evaluate("document.documentElement.scrollWidth") <= wide
        assert page.evaluate(CLIPPED) == []
        marks = page.locator("#part-1 .stick text").all_text_contents()
        assert sum("/16" in mark for mark in marks) >= 3
        if wide >= 820:
            box = page.locator("#part-1 .setup tbody tr").first.locator("td").last.bounding_box()
            assert box["x"] + box["width"] <= wide
    assert held > 150
    assert torn == []


@pytest.mark.slow
def test_the_unit_switch_changes_every_number(desk, demo):
    """In inches no millimetre or kilogram is seen and the other way round, and the numbers are Python's own."""
    job, _ = demo
    page = desk
    page.locator("#part-4 .bender").get_by_role("button", name="Next").click()
    assert " in" in page.locator("#part-4 [data-live]").text_content().replace("\u00a0", " ")
    with everything(page):
        inches = page.evaluate(SEEN)
        page.locator("input[name=unit][value=mm]").check()
        assert "All lengths in millimetres" in page.locator("#news").inner_text()
        assert page.locator("#part-4 [data-live]").text_content() == ""
        metric = page.evaluate(SEEN)
    tokens = {}
    for unit, texts in (("in", inches), ("mm", metric)):
        tokens[unit] = LENGTH.findall(" ".join(texts))
        assert {one for _, one in tokens[unit]} == ({"in", "lb"} if unit == "in" else {"mm", "kg"})
    assert len(tokens["in"]) == len(tokens["mm"]) > 250
    for display in (Display("mm"), Display("in")):
        shown = [number for number, _ in tokens[display.unit]]
        for view in views_of(job, display):
            for step in view.marked:
                for end in "AB":
                    assert display.number(view.mark(end, step)) in shown
    # whole millimetres: a cut length is rounded up, and the page comes back to them
    page.select_option("#rounding", label="1 mm")
    page.reload()
    assert "mm" in page.evaluate("document.documentElement.className").split()
    until(page, "document.getElementById('rounding').selectedOptions[0]?.textContent === '1 mm'")
    setup = job.setups[0]
    assert page.locator("#part-1 .tape .running").last.inner_text() == f"{ceil(setup.stick_length - 1e-6)}\u00a0mm"
    page.select_option("#rounding", label="0.01 mm")
    page.locator("input[name=unit][value=in]").check()


@pytest.mark.slow
def test_a_tube_stands_whole_in_its_3d_view(desk):
    """The ranges of the axes, which cut off what is beyond them, hold every corner of what is drawn."""
    wait_for_view(desk, "#part-3 .stage[data-view=tube]")
    assert desk.evaluate(
        """(() => {
          const e = document.querySelector('#part-3 .stage[data-view=tube]'), s = e.layout.scene;
          const meshes = e.data.filter((trace) => trace.type === 'mesh3d');
          return meshes.length > 0 && ['x', 'y', 'z'].every((k) => meshes.every((mesh) =>
            [...mesh[k]].every((v) => v >= s[k + 'axis'].range[0] && v <= s[k + 'axis'].range[1])));
        })()"""
    )


@pytest.mark.slow
def test_a_view_is_fitted_anew_where_the_window_gets_narrower(chromium, demo):
    """A tablet that is turned: the frame was drawn for the wide window, and its right side was cut off."""
    selector = ".stage[data-view=job]"
    with opened(chromium, demo[1], viewport={"width": 900, "height": 900}) as page:
        until(page, READY)
        wait_for_view(page, selector)
        drawn = page.evaluate("(s) => document.querySelector(s).layout.scene.aspectratio.x", selector)
        page.set_viewport_size({"width": 412, "height": 900})
        until(page, f"document.querySelector('{selector}').layout.scene.aspectratio.x < {0.99 * drawn}")
        whole(settled_picture(page, selector))
        # turned by hand it stays turned, and is fitted all the same
        page.locator(".turns button[data-eye=above]").first.click()
        eye = page.evaluate(EYE, selector)
        page.set_viewport_size({"width": 700, "height": 900})
        of_size = "((e) => stages.all.get(e).framed.endsWith(stages.sizeOf(e)))"
        until(page, f"{of_size}(document.querySelector('{selector}'))")
        whole(settled_picture(page, selector))
        assert page.evaluate(EYE, selector) == pytest.approx(eye, abs=1e-2)


@pytest.mark.slow
def test_ticks_survive_a_reload_and_are_cleared_on_asking_twice(desk):
    page = desk
    boxes = page.locator("#part-1 .tasks input")
    boxes.nth(0).check()
    boxes.nth(2).check()
    page.locator("#part-6 .tasks input").nth(1).check()
    until(page, "Object.keys(localStorage).some(key => key.startsWith('elbowroom-sheet/ticks/'))")
    page.reload()
    until(page, "document.querySelectorAll('.tasks input:checked').length === 3")
    assert [boxes.nth(i).is_checked() for i in range(4)] == [True, False, True, False]
    assert page.locator("#part-1 .ticked").inner_text() == f"2 of {boxes.count()} ticked"
    mark = page.locator("body").get_attribute("data-mark")
    keys = page.evaluate("Object.keys(localStorage)")
    assert f"elbowroom-sheet/ticks/{mark}" in keys
    page.locator("#clear").click()
    page.get_by_role("button", name="Keep them").click()
    assert boxes.nth(0).is_checked()
    page.locator("#clear").click()
    page.get_by_role("button", name="Clear them").click()
    page.reload()
    assert page.locator(".tasks input:checked").count() == 0


@pytest.mark.slow
def test_ticks_of_two_revisions_do_not_mix_and_those_of_one_sheet_do(chromium, tmp_path):
    """The same tube from another stop is another sheet; the same sheet in two windows is one."""
    old = written(job_of([tube_named("one")], shop(), "old"), tmp_path)
    new = written(job_of([tube_named("one", rows=((300.0, 0.0, 91.0), (250.0, 90.0, 45.0)))], shop(), "new"), tmp_path)
    context = context_of(chromium)
    # a browser without 3D, for speed
    context.add_init_script("HTMLCanvasElement.prototype.getContext = () => null")
    first, second, other = (context.new_page() for _ in range(3))
    first.goto(old.as_uri())
    second.goto(old.as_uri())
    first.locator("#part-1 .tasks input").nth(1).check()
    until(second, "document.querySelectorAll('.tasks input:checked').length === 1")
    second.bring_to_front()  # a page behind others draws nothing
    until(second, "document.querySelector('.stage.cannot')?.textContent.includes('cannot show 3D')")
    other.goto(new.as_uri())
    assert other.locator(".tasks input:checked").count() == 0
    other.locator("#part-1 .tasks input").nth(2).check()
    first.reload()
    assert first.locator(".tasks input:checked").count() == 1
    assert first.locator("#part-1 .tasks input").nth(1).is_checked()
    context.close()


@pytest.mark.slow
def test_a_browser_that_keeps_nothing_is_told_of(chromium, tmp_path):
    """localStorage refuses: everything else goes on, and the page says so."""
    refuse = (
        "Object.defineProperty(window, 'localStorage', {get() { throw new DOMException('no', 'SecurityError'); }});"
    )
    path = written(job_of([tube_named("one")], shop(), unit="in"), tmp_path)
    with opened(chromium, path, before=refuse) as page:
        assert page.locator("#forgetful").is_visible()
        page.locator("#part-1 .tasks input").first.check()
        page.locator("input[name=unit][value=mm]").check()
        assert "mm" in page.evaluate("document.documentElement.className").split()


@pytest.mark.slow
def test_hostile_names_show_as_text(chromium, hostile):
    """No dialog, no request (held by `opened`); every name as its characters, in 3D too."""
    with opened(chromium, hostile) as page:
        for i, shown in enumerate(HOSTILE.values(), 1):
            assert page.locator(f"#part-{i}-name").inner_text() == shown
        assert page.locator("h1").inner_text() == EVIL
        assert page.title() == f"{EVIL} – job sheet"
        assert page.locator("img, h2 b, h1 b").count() == 0
        wait_for_view(page, ".whole .stage")
        page.evaluate(
            "document.querySelector('.whole .stage').emit('plotly_hover', {points: [{curveNumber: 0, pointNumber: 0}]})"
        )
        assert page.locator(".under").inner_text() == next(iter(HOSTILE.values()))
        page.locator("#part-1 .tasks input").first.check()
        keys = page.evaluate("JSON.stringify(localStorage)")
        assert "alert" not in keys and "part-1/cut" in keys
        assert page.evaluate("document.documentElement.scrollWidth") <= 1280


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_printed_every_part_starts_a_page(desk, demo, paper):
    """On paper: one part per page start, with its number and mark; no buttons, no sliders; all instructions."""
    from pypdf import PdfReader

    job, _ = demo
    page = desk
    page.locator("#part-2 .tasks input").first.check()
    pdf = PdfReader(io.BytesIO(page.pdf(format=paper)))
    # a PDF may hold fi and fl as one letter
    texts = [re.sub(r"\s+", " ", normalize("NFKC", one.extract_text())) for one in pdf.pages]
    starts = [next(i for i, text in enumerate(texts) if text.startswith(f"Part {n} of 7 ")) for n in range(1, 8)]
    assert starts == sorted(set(starts)) and starts[0] >= 1
    # the head, two for each part, one for the bars and one for the fit-up of the frame
    assert len(texts) <= 3 + 2 * len(job.parts) + 2
    joined = " ".join(texts)
    assert "Next" not in joined and "From the right" not in joined and "Clear all ticks" not in joined
    for view in views_of(job, Display("in")):
        for sentence in view.instructions():
            assert re.sub(r"\W", "", sentence) in re.sub(r"\W", "", joined)
    assert joined.count("revision mark") >= len(job.parts)


#: Parts that hold nothing which another has not: a rail, the rungs, the trolley's leg with its error stay.
ALIKE = {"exclude": [[f"#part-{n}"] for n in (2, 4, 5, 6)]}


@pytest.mark.slow
@pytest.mark.parametrize("size", ["desk", "phone"])
def test_it_is_accessible(request, size):
    """axe-core finds nothing in light or dark, and nothing scrolls sideways."""
    from axe_playwright_python.sync_playwright import Axe

    page = request.getfixturevalue(size)
    wait_for_view(page, "#part-1 .stage[data-view=bender]")
    with everything(page):
        assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
        for scheme, contrast in (("light", "no-preference"), ("dark", "no-preference"), ("light", "more")):
            page.emulate_media(color_scheme=scheme, contrast=contrast)
            wrong = Axe().run(page, context=ALIKE).response["violations"]
            assert [(one["id"], [node["target"] for node in one["nodes"][:3]]) for one in wrong] == []
    page.emulate_media(color_scheme="light", contrast="no-preference")


def test_on_a_phone_what_is_wider_than_it_can_be_read_and_reached(phone):
    """Tables fold, pictures slide, say so and take the keyboard, with type of 11 px at least."""
    page = phone
    page.eval_on_selector("#part-1 .stick", "e => e.scrollIntoView({block: 'center', behavior: 'instant'})")
    stick = "document.querySelector('#part-1 .stick .wide')"
    until(page, f"{stick}.hasAttribute('data-more') && {stick}.tabIndex === 0")
    with everything(page):
        wide = page.eval_on_selector_all(
            "main .wide:has(table)", "all => all.map((one) => [one.scrollWidth - one.clientWidth, one.innerText])"
        )
        assert len(wide) > 15 and [text[:60] for over, text in wide if over > 0] == [], "no table slides"
        for name in ("setup", "tape", "bends"):
            box = page.locator(f"#part-1 .{name} caption span").bounding_box()
            assert box["x"] >= 0.0 and box["x"] + box["width"] <= 360.0
            # every cell has the name of its column before it
            names = page.eval_on_selector_all(
                f"#part-1 .{name} td:not(:empty, [colspan], .running)",
                "all => all.map((one) => getComputedStyle(one, '::before').content.replaceAll('\"', ''))",
            )
            heads = page.locator(f"#part-1 .{name} thead th").all_text_contents()
            assert set(names) == set(heads[2 if name == "tape" else 1 :])
    least = page.evaluate(
        """() => Math.min(...[...document.querySelectorAll('#part-1 .drawing text, #part-1 .stick text')].map((e) =>
          parseFloat(getComputedStyle(e).fontSize) * e.ownerSVGElement.getScreenCTM().a))"""
    )
    assert least > 11.0


@pytest.mark.slow
def test_what_fits_is_no_stop_for_the_keyboard(desk):
    """On a desk the set-up table fits: Tab goes past it."""
    wait_for_view(desk, "#part-6 .stage[data-view=tube]")
    until(desk, "!document.querySelector('#part-6 .setup').closest('.wide').hasAttribute('tabindex')")


def test_everything_to_touch_is_large_enough_for_gloves(phone):
    """44 px each way for buttons, choices, sliders and boxes to tick (their whole line is touched)."""
    page = phone
    with everything(page):
        small = page.evaluate(
            """() => [...document.querySelectorAll("button, .button, .units label, .tasks label, input[type=range]")]
              .filter(e => e.getClientRects().length && !e.closest("dialog"))
              .map(e => [e.textContent.trim().slice(0, 20), e.getBoundingClientRect()])
              .filter(([, box]) => box.height < 44 || box.width < 44).map(([text]) => text)"""
        )
    assert small == []


@pytest.mark.slow
def test_long_names_do_not_widen_a_phone(chromium, hostile):
    with opened(chromium, hostile, viewport=PHONE) as page:
        page.add_style_tag(content=ALL)
        assert page.evaluate("document.documentElement.scrollWidth") <= 360


@pytest.mark.slow
def test_without_scripts_everything_can_be_read(chromium, demo):
    """Numbers, pictures and every step; what needs scripts is not there, and that is said."""
    job, path = demo
    with opened(chromium, path, java_script_enabled=False) as page:
        # locators need no scripts of the page
        assert "Scripts are off" in page.locator("noscript").inner_text()
        page.locator("#part-1").scroll_into_view_if_needed()
        text = page.locator("#part-1").inner_text().replace("\u00a0", " ")
        for sentence in SetupView(job.setups[0], Display("in")).instructions():
            assert sentence in text
        assert page.locator("#part-1 .setup tbody tr").count() == 3
        assert page.locator("#part-1 svg.picture").first.is_visible()
        assert page.locator(".js-only:visible").count() == 0


@pytest.mark.slow
def test_few_3d_views_are_alive_at_once(chromium, tmp_path):
    """Scrolled through from end to end, no more than three WebGL contexts stand, and each part gets its own."""
    job = job_of([tube_named(f"T{i}", 400.0 * i, rows=((300.0 + i, 0.0, 90.0),)) for i in range(8)], shop())
    count = """
      const made = new Set(), get = HTMLCanvasElement.prototype.getContext;
      HTMLCanvasElement.prototype.getContext = function (kind, ...rest) {
        const one = get.call(this, kind, ...rest);
        if (one && /webgl/.test(kind)) made.add(one);
        return one;
      };
      window.contexts = () => [...made].filter(one => !one.isContextLost()).length;
    """
    with opened(chromium, written(job, tmp_path), before=count) as page:
        seen = 0
        for n in (1, 4, 8):
            wait_for_view(page, f"#part-{n} .stage[data-view=bender]")
            assert len(alive(page)) <= 3
            seen = max(seen, page.evaluate("window.contexts()"))
        assert 1 <= seen <= 4


@pytest.mark.slow
def test_turned_by_hand_a_view_stays_turned_while_its_steps_change(desk):
    """Every step is framed anew, seen from where the person turned it; the buttons put it back."""
    # where the eye is, as a unit vector from the middle of the picture
    away = """(() => {
      const { eye, center } = document.querySelector('#part-2 .bender .stage').layout.scene.camera;
      const v = ['x', 'y', 'z'].map((k) => eye[k] - center[k]), size = Math.hypot(...v);
      return v.map((one) => one / size);
    })()"""
    page = desk
    wait_for_view(page, "#part-2 .stage[data-view=bender]")
    bench = page.locator("#part-2 .bender")
    first = page.evaluate(away)
    box = bench.locator(".stage").bounding_box()
    at = (box["x"] + box["width"] * 0.8, box["y"] + box["height"] * 0.8)
    page.mouse.move(*at)
    page.mouse.down()
    page.mouse.move(at[0] - 90.0, at[1] - 20.0, steps=3)
    page.mouse.up()
    until(page, f"Math.abs({away}[0] - ({first[0]})) > 0.1")
    turned = settled(page, away)
    bench.get_by_role("button", name="Next").click()
    assert page.evaluate(away) == pytest.approx(turned, abs=1e-6)
    bench.get_by_role("button", name="Closer").click()
    bench.get_by_role("button", name="From the right").click()
    until(page, f"Math.hypot(...{away}.map((v, i) => v - {first}[i])) < 1e-6")


@pytest.mark.slow
def test_the_view_of_the_bender_holds_what_moves(desk, demo):
    """The die is large in each step, small when the whole stick is asked for, and the end that swings is seen."""
    job, _ = demo
    # pixels for each mm of the job, from plotly's own proportions
    scale = """(() => {
      const e = document.querySelector('#part-6 .bender .stage'), s = e.layout.scene;
      return (s.aspectratio.x / (s.xaxis.range[1] - s.xaxis.range[0])) * e.clientHeight / 2;
    })()"""
    clr = job.setups[8].steps[0].die.clr
    page = desk
    wait_for_view(page, "#part-6 .stage[data-view=bender]")
    bench = page.locator("#part-6 .bender")
    seen = """(() => {
      const stage = document.querySelector('#part-6 .bender .stage'), room = stage.getBoundingClientRect();
      const labels = [...stage.querySelectorAll('.annotation-text')];
      const words = labels.map(label => label.textContent);
      return words.includes('mark %d') && labels.every((label, i) => {
        const kept = words[i] === '1' || words[i].startsWith('mark') || words[i] === 'to A'
          || (words[i] === 'A' && !words.includes('to A'));
        const box = label.getBoundingClientRect();
        return !kept || (room.left <= box.left && box.right <= room.right
          && room.top <= box.top && box.bottom <= room.bottom);
      });
    })()"""
    for number in range(1, 5):
        bench.get_by_role("button", name="Next").click()
        until(page, seen % number)
        assert page.evaluate(scale) * 2.0 * clr > 14.0
    stage = bench.locator(".stage").bounding_box()
    step = page.evaluate(scale)
    bench.get_by_role("button", name="At the die").click()
    until(page, f"{scale} * 2.0 * {clr} > 120.0")
    bench.get_by_role("button", name="Whole stick").click()
    until(page, f"{scale} < {step}")
    whole = page.evaluate(scale)
    assert whole * job.setups[8].stick_length < 3.0 * stage["width"]
    assert bench.get_by_role("button", name="Whole stick").get_attribute("aria-pressed") == "true"


@pytest.mark.slow
def test_of_many_parts_only_those_in_sight_are_laid_out(chromium, tmp_path):
    """Eight bends each: 2 MB of viewer and under 31 kB a part; of hundreds, laid out at once, a page takes minutes."""
    job = job_of(different_tubes(40), shop())
    path = written(job, tmp_path)
    assert path.stat().st_size < 2.1e6 + 40 * 31e3
    laid_out = "all => all.filter(e => e.querySelector('h2').checkVisibility({contentVisibilityAuto: true})).length"
    with opened(chromium, path) as page:
        wait_for_view(page, ".whole .stage")
        assert page.locator(".part").count() == 40
        assert page.eval_on_selector_all(".part", laid_out) <= 4
        page.evaluate("location.hash = 'part-25'")
        page.wait_for_selector("#part-25 .stage[data-alive]")
        # what is in sight is known with the next frame
        page.wait_for_function(f"() => ({laid_out})([...document.querySelectorAll('.part')]) > 0")
        assert page.eval_on_selector_all(".part", laid_out) <= 12
        assert len(alive(page)) <= 3
        page.fill("#search", "t25")
        assert page.locator("#listed").inner_text() == "1 of 40 parts"


def two_dies() -> Job:
    """A mirror pair and a tube on one die, two of another tube on both dies, and a straight one."""
    where = shop()
    second = replace(where.dies[0], name="R6", clr=152.4)
    pair = [tube_named("LEFT"), tube_named("RIGHT", 400.0, rows=((300.0, 0.0, 90.0), (250.0, -90.0, 45.0)))]
    both = [replace(tube_named(f"ARCH-{i}", 800.0 + 400.0 * i), metal="stainless") for i in range(2)]
    table = both[0].run.table
    bends = (table.bends[0], replace(table.bends[1], clr=152.4))
    both = [replace(one, run=replace(one.run, table=replace(table, bends=bends))) for one in both]
    short = tube_named("SHORT", 1600.0, rows=((200.0, 0.0, 30.0),))
    straight = Tube(
        Run("POST", "LAYER", False, BendTable((), 900.0), replace(short.run.placement, start=(0.0, 2000.0, 0.0))), TUBE
    )
    return job_of([*pair, short, *both, straight], replace(where, dies=(where.dies[0], second)), "dies")


ROWS = """() => [...document.querySelectorAll('.list tbody tr')].filter((row) => !row.hidden)
  .map((row) => row.dataset.key ? row.querySelector('th a').textContent : row.textContent)"""


@pytest.mark.slow
def test_the_list_is_sorted_searched_and_walked_by_keys_and_by_touch(chromium, tmp_path):
    """By die each is mounted once; the way from part to part goes as the list stands; one tube is printed alone."""
    from pypdf import PdfReader

    job = two_dies()
    names = [part.name for part in job.parts]
    with opened(chromium, written(job, tmp_path), viewport={"width": 390, "height": 844}, has_touch=True) as page:
        until(page, READY)
        # the first screen of a phone shows tubes
        box = page.locator(".whole .stage").bounding_box()
        assert box["y"] + 0.8 * box["height"] < 844
        assert page.evaluate(ROWS) == names
        assert page.locator(".list tr", has_text="LEFT").first.inner_text().count("mirror image of RIGHT") == 1
        page.select_option("#sort", "die")
        assert page.evaluate(ROWS) == [
            "Die R4.5: 4 parts, 7 bends in all", "LEFT", "RIGHT", "SHORT", names[3],
            "Die R6: 1 part, 2 bends in all", names[3],
            "No die: 1 part", "POST",
        ]  # fmt: skip
        places = [text.strip() for text in page.locator(".list td .small").all_inner_texts()]
        assert places == ["on this die: bend 1", "on this die: bend 2"]
        page.select_option("#sort", "long")
        lengths = {part.name: setup.stick_length for part, setup in job.shown.first_setups}
        assert page.evaluate(ROWS) == sorted(names, key=lambda name: -lengths[name])
        page.select_option("#sort", "section")
        assert page.evaluate(ROWS)[0].endswith(f": {len(names)} parts")
        page.select_option("#sort", "long")
        # keys alone: past the skip link to the walk, on to the next part of the list as it stands
        page.evaluate("scrollTo(0, 0)")
        seen = []
        for _ in range(12):
            page.keyboard.press("Tab")
            seen.append(page.evaluate("document.activeElement.id || document.activeElement.className"))
            if seen[-1] == "after":
                break
        assert seen[0] == "skip" and "here" in seen
        order = [names.index(name) + 1 for name in sorted(names, key=lambda name: -lengths[name])]
        for i, number in enumerate(order[:3], 1):
            page.keyboard.press("Enter")
            until(page, f"document.getElementById('here').textContent === '{i} of {len(order)}'")
            assert page.evaluate("location.hash") == f"#part-{number}"
        # by its place: the driver's own tap scrolls to where the bar would stand if it did not stay
        box = page.locator("#before").bounding_box()
        page.touchscreen.tap(box["x"] + 20.0, box["y"] + 20.0)
        until(page, f"location.hash === '#part-{order[1]}'")
        page.fill("#search", "post")
        assert page.evaluate(ROWS) == ["POST"] and page.locator("#listed").inner_text() == f"1 of {len(names)} parts"
        page.fill("#search", "")
        # a tick shows in every line of its part
        page.select_option("#sort", "die")
        page.locator("#part-4 .tasks input").first.check()
        texts = page.locator(".list [data-ticked=part-4]").all_text_contents()
        assert len(texts) == 2 and all(text.startswith("1 of ") for text in texts)
        page.evaluate("window.print = () => { window.asked = true; }")
        page.locator("#part-3 [data-alone]").tap()
        assert page.evaluate("window.asked")
        text = " ".join(one.extract_text() for one in PdfReader(io.BytesIO(page.pdf())).pages)
        assert "SHORT" in text and "Part 3 of 5" in text and "LEFT" not in text and "POST" not in text
        page.evaluate("dispatchEvent(new Event('afterprint'))")
        assert not page.evaluate("document.documentElement.classList.contains('alone')")


#: The side from which a view is looked at, and the box of what is drawn in it, in pixels of the view.
EYE = """(selector) => {
  const { eye, center } = document.querySelector(selector).layout.scene.camera;
  const v = ['x', 'y', 'z'].map((k) => eye[k] - center[k]), size = Math.hypot(...v);
  return v.map((one) => one / size);
}"""


@pytest.mark.slow
def test_a_finished_tube_stands_in_3d_as_it_is_drawn_and_cut(chromium, tmp_path):
    """Straights and arcs as Python has them, cut ends from the cope's profile, seen from the drawing's side, whole.

    One tube is coped, one lies in a plane that is edge-on from the usual corner.
    """
    rail, *others = framed()
    job = job_of([rail, *others], shop(), "framed")
    (joint,) = [joint for joint in job.joints if joint.tube == "BRACE"]
    with opened(chromium, written(job, tmp_path), viewport=DESK) as page:
        until(page, READY)
        for number, part in enumerate(job.parts, 1):
            tube = part.first
            way = page.evaluate("(key) => wayOf(stages.pages.get(key).tube).segments", f"part-{number}")
            for segment, shown in zip(tube.run.centerline, way, strict=True):
                if len(shown) == 3:
                    assert shown == pytest.approx(segment.end, abs=0.02)
                else:
                    assert shown[:3] == pytest.approx(segment.center, abs=0.02)
                    assert shown[3:6] == pytest.approx(segment.normal, abs=1e-4)
                    assert shown[6] == pytest.approx(segment.angle, abs=1e-3)
            selector = f"#part-{number} .stage[data-view=tube]"
            wait_for_view(page, selector)
            toward = axes_of(tube.run).best_isometric(tube.run).toward
            assert page.evaluate(EYE, selector) == pytest.approx(toward, abs=1e-3)
            whole(settled_picture(page, selector))
        # how far the rim of end A reaches along the tube, from the centerline's end
        key = f"part-{[part.name for part in job.parts].index('BRACE') + 1}"
        x, y, z = (
            page.evaluate(
                f"(key) => {{ const t = tubeScene(stages.pages.get(key)).traces.at(-3); return t.{axis}; }}", key
            )
            for axis in "xyz"
        )
        along = [
            sum((p - q) * d for p, q, d in zip(point, joint.end_point, joint.direction, strict=True))
            for point in zip(x, y, z, strict=True)
        ]
        outer = along[:48]
        assert -max(outer) == pytest.approx(joint.long_point, abs=0.06)
        assert -min(outer) == pytest.approx(joint.short_point, abs=0.06)
        # where it goes: the frame with this part lit
        wait_for_view(page, f"#{key} .stage[data-view=tube]")
        page.locator(f"#{key} .look [data-frame=frame]").click()
        until(
            page,
            f"document.querySelector('#{key} .look .stage').data?.filter((one) => one.type === 'mesh3d').length === 2",
        )
        assert page.locator(f"#{key} .look .annotation-text").all_text_contents() == [key.removeprefix("part-")]


def framed() -> list[Tube]:
    """A rail, a bent brace coped to it at a slant, and a hoop in the plane x = y."""
    section = TUBE

    def bent(name, start, direction, normal, rows, tail):
        table = BendTable(tuple(Bend(feed, rotation, angle, 114.3) for feed, rotation, angle in rows), tail)
        return Tube(Run(name, "LAYER", False, table, Placement(start, direction, normal)), section, metal="mild steel")

    half = 0.5**0.5
    return [
        bent("RAIL", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (), 1500.0),
        bent("BRACE", (900.0, 0.0, 0.0), (0.5, 0.0, 0.75**0.5), (0.0, 1.0, 0.0), ((140.0, 0.0, 60.0),), 200.0),
        bent(
            "HOOP",
            (0.0, 600.0, 0.0),
            (0.0, 0.0, 1.0),
            (half, -half, 0.0),
            ((200.0, 0.0, 90.0), (250.0, 0.0, 90.0)),
            180.0,
        ),
    ]


def settled_picture(page: Any, selector: str) -> Any:
    """The pixels of a view without its labels, once they stay the same."""
    from PIL import Image

    page.add_style_tag(content=f"{selector} .infolayer {{ visibility: hidden }}")
    before, now = b"", page.locator(selector).screenshot()
    while before != now:
        page.wait_for_timeout(200)
        before, now = now, page.locator(selector).screenshot()
    return Image.open(io.BytesIO(now)).convert("RGB")


def whole(picture: Any) -> None:
    """Something is drawn, and nothing of it comes to the edge of the view: all is seen."""
    from PIL import Image, ImageChops

    ground = Image.new("RGB", picture.size, picture.getpixel((picture.width // 2, 6)))
    box = (
        ImageChops.difference(picture, ground)
        .convert("L")
        .point(lambda v: 255 * (v > 12))
        .crop((8, 8, picture.width - 8, picture.height - 8))
        .getbbox()
    )
    assert box is not None and (box[2] - box[0] > 60 or box[3] - box[1] > 60)
    assert box[0] > 4 and box[1] > 4 and box[2] < picture.width - 20 and box[3] < picture.height - 20
