"""Bench view in a real browser: by pedal, finger and keyboard; its numbers, pictures, moves, check card."""

from __future__ import annotations

import csv
import io
import re
import shlex
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from command_line import run as command
from sheet_tools import PATIENCE, demo_job, job_of, opened, page_of, shop, tube_named, written

from converter.bending.metal.springback import resume
from converter.bending.setup.setup import Setup
from converter.exporters.sheet.bench import bench_data, bench_words
from converter.exporters.sheet.steps import cut_lines
from converter.exporters.sheet.whole import fit_order
from converter.job import Job
from converter.shop.load import demo_text, load_shop
from converter.shop.model import Machine, Trial
from converter.units import BothUnits, in_unit

PHONE, TABLET = {"width": 390, "height": 844}, {"width": 820, "height": 1180}
DESK, LYING = {"width": 1440, "height": 900}, {"width": 1180, "height": 820}
#: A desk, a tablet and a phone at 200 %.
ZOOMED = {"width": 720, "height": 450}, {"width": 410, "height": 590}, {"width": 195, "height": 422}
#: Test bends that say that two degrees of the stop are play.
TESTS = "".join(f'\n[[test]]\ndie = "R1500"\nstop = {stop}\nangle = {angle}\n' for stop, angle in ((47, 45), (93, 90)))
#: A browser without 3D, for speed, as bench view needs none; how often the screen is held awake.
FLAT = """HTMLCanvasElement.prototype.getContext = () => null;
window.awake = 0;
Object.defineProperty(navigator, 'wakeLock', {
  value: { request: async () => { window.awake += 1; return { release() { window.awake -= 1; } }; } } });"""
#: What is not as it should be in bench view: clipped, out of the window, the button no third, two pictures.
AMISS = """() => {
  const amiss = [], see = (one) => one.checkVisibility() && one.getClientRects().length;
  const view = document.getElementById('bench-view'), done = document.getElementById('bench-done');
  for (const one of [view, ...view.querySelectorAll(':not(svg, svg *, textarea)')]) {
    if (!see(one) || one.closest('.sr, .again span, dialog:not([open])')) continue;
    const inline = getComputedStyle(one).display.startsWith('inline');
    const called = one.id || one.className || one.outerHTML.slice(0, 80);
    if (!inline && one.scrollWidth > one.clientWidth + 1) amiss.push('clipped ' + called);
    const box = one.getBoundingClientRect();
    if (box.left < -1 || box.right > innerWidth + 1) amiss.push('beside ' + called);
  }
  for (const one of view.querySelectorAll('.sketch text')) {
    const box = one.getBoundingClientRect(), room = one.ownerSVGElement.getBoundingClientRect();
    if (box.left < room.left - 3 || box.right > room.right + 3) amiss.push('cut off ' + one.textContent);
  }
  const box = done.getBoundingClientRect();
  const third = box.height >= innerHeight / 3 - 2 && box.width >= innerWidth - 2;
  if (see(done) && (Math.abs(box.bottom - innerHeight) > 2 || !third))
    amiss.push('button ' + [box.height, box.width]);
  if (document.querySelectorAll('#bench-body svg.sketch').length > 1) amiss.push('pictures');
  return amiss;
}"""
ROWS = """[...document.querySelectorAll('#bench-body dl > div')]
  .map(row => [row.querySelector('dt').innerText, row.querySelector('.value').innerText])"""
DIGITS = """() => Math.min(...[...document.querySelectorAll('#bench-body .value:not(.wordy, .many)')]
  .map((e) => parseFloat(getComputedStyle(e).fontSize)))"""
#: All there is to look at in one step, once the window has its size.
LOOK = f"""async () => {{
  await new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)));
  const count = (what) => document.querySelectorAll('#bench-body ' + what).length, step = bench.steps[bench.at];
  const text = (name) => document.getElementById('bench-' + name).innerText.replaceAll('\u00a0', ' ');
  return {{ name: text('where'), count: text('count'), rows: {ROWS}, amiss: ({AMISS})(), lit: count('.skinlit'),
    zero: count('.zero'), digits: ({DIGITS})(), task: step ? step.task : '' }};
}}"""


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> tuple[Job, Path]:
    """The demo job, in a shop that has tested one die; shown in inches."""
    folder = tmp_path_factory.mktemp("bench")
    file = folder / "our shop.toml"
    file.write_text(demo_text() + TESTS, encoding="utf-8")
    job = demo_job(folder / "in", shop=str(file))
    return job, written(job, folder / "out")


@contextmanager
def at_bench(one: Any, path: Path, size: dict[str, int], **how: Any) -> Iterator[Any]:
    """A sheet whose bench view can be used."""
    with opened(one, path, viewport=size, before=FLAT, **how) as page:
        wait_until_ready(page)
        yield page


def until(page: Any, condition: str) -> None:
    """Wait for a condition in the page; its policy forbids the browser driver's own way of waiting."""
    end = time.monotonic() + PATIENCE
    while not page.evaluate(f"Boolean({condition})"):
        assert time.monotonic() < end, f"never came true: {condition}"
        page.wait_for_timeout(50)


def wait_until_ready(page: Any) -> None:
    until(page, "stages.room && bench.steps.length")


class AtTheBench:
    """A page with bench view, and what a person does there."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def text(self, name: str) -> str:
        return self.page.locator(f"#bench-{name}").inner_text().replace("\u00a0", " ").replace("\n", " ")

    def numbers(self) -> dict[str, float]:
        return read_numbers(self.page.evaluate(ROWS))

    def press(self, key: str) -> None:
        self.page.keyboard.press(key)

    def ticked(self) -> int:
        return self.page.locator("input[data-tick]:checked").count()


def read_numbers(rows: list[list[str]]) -> dict[str, float]:
    """What to set -> the number that is seen, in the unit that shows."""
    return {what: float(found[0]) for what, text in rows if (found := re.match(r"-?[\d.]+", text))}


def near(inches_or_degrees: float, mm_or_degrees: float, per: float = 1.0, step: float = 0.005) -> bool:
    """Whether a number that is shown is the nearest to an exact one."""
    return abs(inches_or_degrees - mm_or_degrees / per) <= step * 1.000001


def hold_bends(at: AtTheBench, setup: Setup, key: str) -> None:
    """The bends of a set-up, one by one: mark, turn and stop read back; each goes on by a key of a pedal."""
    for i, step in enumerate(setup.steps, 1):
        assert at.text("count").endswith(f", bend {i} of {len(setup.steps)}")
        numbers = at.numbers()
        assert near(numbers.get("Feed to", numbers.get("Draw back to", 0.0)), step.mark, 25.4, 0.0005)
        assert near(numbers["Stop"], step.stop_set)
        assert near(numbers.get("Turn", 0.0), abs(step.turn_set))
        drawn = at.page.locator("#bench-body svg.sketch text").all_text_contents()
        if drawn:
            assert f"stop {step.stop_set:.2f}°" in drawn and f"mark {step.bend}" in drawn
            assert (f"turn {abs(step.turn_set):.2f}°" in drawn) == bool(step.turn_set)
        if i < len(setup.steps):
            assert f"bend {i + 1} of {len(setup.steps)}" in at.text("next")
            assert f"stop {setup.steps[i].stop_set:.2f}°" in at.text("next")
        assert at.page.evaluate(AMISS) == []
        at.press(key)


def test_what_comes_next_names_ends_by_their_letters(chromium, tmp_path):
    """A tube with 10 mm before its first bend: extra stick for the clamp, whose trim mark is on the way."""
    job = job_of([tube_named("STUB", rows=((10.0, 0.0, 90.0), (250.0, 90.0, 45.0)))], shop())
    assert job.setups[0].extra_a > 0.0
    with at_bench(chromium, written(job, tmp_path), PHONE) as page:
        at = AtTheBench(page)
        page.locator("#part-1 [data-bench]").click()
        assert "trim A " in at.text("next") and "bend 1 " in at.text("next")
        assert at.numbers()["Cut"] >= round(job.setups[0].stick_length, 2)


@pytest.mark.slow
def test_a_part_of_two_by_pedal_and_finger_on_a_tablet(chromium, demo):
    """Every step in 90 px digits, whole; a tick for each; a tick for each piece; back, undo, skip; kept; cleared."""
    job, path = demo
    part = next(part for part in job.parts if part.quantity == 2)
    setup, (first, second) = job.part_setups[part.name], part.names
    number = job.parts.index(part) + 1
    before, tubes = sum(one.quantity for one in job.parts[: number - 1]), len(job.tubes)
    with at_bench(chromium, path, TABLET, has_touch=True, reduced_motion="reduce") as page:
        at = AtTheBench(page)
        page.locator(f"#part-{number} [data-bench]").tap()
        steps = page.locator(f"#part-{number} .tasks li").count()
        assert at.text("where") == first
        assert at.text("count") == f"tube {before + 1} of {tubes}, cut, 1 of {steps}"
        assert 0.0 <= at.numbers()["Cut"] - setup.stick_length / 25.4 <= 0.001
        assert page.evaluate(DIGITS) >= 90.0
        at.press("PageDown")
        marks = {what: mm for what, mm in at.numbers().items() if what.startswith("Bend")}
        assert len(marks) == len(setup.steps)
        assert all(near(marks[f"Bend {step.bend}"], step.mark, 25.4, 0.0005) for step in setup.steps)
        at.press("ArrowRight")
        assert page.evaluate(DIGITS) >= 90.0
        hold_bends(at, setup, " ")
        while not at.text("count").endswith("finished"):
            assert page.evaluate(AMISS) == []
            page.locator("#bench-done").tap()
        assert at.ticked() == steps
        assert at.text("body") == f"Is {first} finished?"
        assert "cut, 1 of" in at.text("next")
        # undo takes the last act back; the second piece begins anew, and a reload comes back to it
        at.press("PageDown")
        assert at.text("count") == f"tube {before + 2} of {tubes}, cut, 1 of {steps}"
        assert at.text("where").startswith(second)
        assert at.ticked() == 1
        page.locator("#bench-undo").tap()
        assert at.text("count").endswith("finished") and at.ticked() == steps
        at.press("PageDown")
        at.press("PageDown")
        page.reload()
        wait_until_ready(page)
        assert at.text("count") == f"tube {before + 2} of {tubes}, mark, 2 of {steps}"
        # whoever pressed a button steps on by a pedal all the same
        page.locator("#bench-back").tap()
        assert at.text("done").startswith("Done already")
        at.press(" ")
        assert at.text("count").endswith(f"mark, 2 of {steps}")
        page.locator("#bench-skip").tap()
        page.get_by_role("button", name="No stick of this size").tap()
        until(page, "bench.steps[bench.at].task.startsWith('bend-')")
        at.press("PageUp")
        assert "Skipped: no stick of this size" in at.text("body")
        until(page, "window.awake === 1")
        page.locator("#bench-close").tap()
        until(page, "window.awake === 0")
        assert page.locator(".skipped").inner_text() == "skipped: no stick of this size"
        page.locator("#clear").tap()
        page.get_by_role("button", name="Clear them").tap()
        until(page, "!document.querySelector('.skipped, input[data-tick]:checked')")
        page.reload()
        wait_until_ready(page)
        assert not page.evaluate("document.getElementById('bench-view').open"), "closed, it stays closed"
        assert page.locator(".skipped").count() == at.ticked() == 0


@pytest.mark.slow
def test_the_whole_job_by_keyboard(chromium, demo):
    """From the first stick to the last tack by the keys of pedals; screens of every size hold every step."""
    job, path = demo
    setups = {setup.tube.name: setup for setup in job.setups}
    joints = {(joint.tube, joint.end): joint for joint in job.joints}
    sizes = [DESK, LYING, TABLET, PHONE, *ZOOMED]
    with at_bench(chromium, path, DESK, reduced_motion="reduce") as page:
        at = AtTheBench(page)
        page.get_by_role("button", name="Bench view", exact=True).focus()
        at.press("Enter")
        seen, cuts, fits = [], 0, []
        for turn in range(400):
            # the last two are a desk and a tablet at 200 %
            size = turn // 5 % len(sizes)
            if turn % 5 == 0:
                page.set_viewport_size(sizes[size])
            look = page.evaluate(LOOK)
            if look["name"] == "That was the last step":
                break
            name, count, saw = look["name"], look["count"], read_numbers(look["rows"])
            assert look["amiss"] == [], (name, count, sizes[size])
            if saw and look["digits"]:
                least = 90.0 if sizes[size] == TABLET else min(29.9, sizes[size]["width"] / 8.2)
                assert look["digits"] >= least, (name, count, sizes[size])
            if page.locator("#bench-look").is_visible():
                # no room for both: the numbers first, the picture behind a button
                assert size > 3 and not look["lit"] + look["zero"], (name, count, sizes[size])
                page.locator("#bench-look").click()
                look |= {what: page.evaluate(LOOK)[what] for what in ("lit", "zero", "amiss")}
                assert page.locator("#bench-look").inner_text() == "Numbers"
                assert look["amiss"] == [], (name, count, sizes[size])
                page.locator("#bench-done").focus()
            if count.startswith("fit-up"):
                fits.append(name)
                assert look["lit"] > 0
            elif "Tilt" in saw:
                setting = joints[name, look["task"].removeprefix("cut-")].hole_saw
                shown = [saw[what] * 25.4 for what in ("Hole saw", "Offset", "Depth")]
                assert shown == pytest.approx([setting.size, setting.offset, setting.depth], abs=0.013)
                assert near(saw["Tilt"], setting.from_square)
                assert look["zero"] == 3, "on the tube, and both edges of the wrap"
                cuts += 1
            elif "Stop" in saw:
                assert any(near(saw["Stop"], step.stop_set) for step in setups[name].steps)
            seen.append((name, count))
            at.press(("PageDown", "ArrowRight", "ArrowDown", " ", "Enter")[turn % 5])
        assert at.text("count") == "Nothing was skipped"
        # of parts with a quantity the last piece left its steps ticked, too
        assert page.locator("input[data-tick]:not(:checked)").count() == 0
        assert len(seen) == len(set(seen)), "no step twice"
        refused = {name for part in job.parts if job.shown.is_refused(part) for name in part.names}
        assert refused == {"LEG 1.25x0.083in"}, "of which no stick is cut"
        assert cuts == len(job.joints) and {name for name, _ in seen} == {tube.name for tube in job.tubes} - refused
        placed = {tube: i for i, tube in enumerate(fits)}
        assert set(placed) == {name for joint in job.joints for name in (joint.tube, *joint.mates)}
        assert all(placed[mate] < placed[joint.tube] for joint in job.joints for mate in joint.mates)


@pytest.mark.slow
def test_the_check_card_puts_a_bend_right_and_records_it(chromium, demo, capsys):
    """The next stop is that of `springback --resume`, by slope and by proportion; what was typed is recorded."""
    job, path = demo
    with at_bench(chromium, path, TABLET) as page:
        commands, table = [], []
        for part in (job.parts[0], next(part for part in job.parts if part.quantity == 2)):
            setup, key = job.part_setups[part.name], f"part-{job.parts.index(part) + 1}"
            page.evaluate(f"bench.open(bench.steps.findIndex(s => s.section.id === '{key}' && s.task === 'measured'))")
            rows = page.locator(".checked")
            assert rows.count() == len(setup.steps)
            for step, off in zip(sorted(setup.steps, key=lambda one: one.bend), (0.7, -0.4, 0.02, 1.3), strict=False):
                row, measured = rows.nth(step.bend - 1), round(step.target - off, 2)
                row.get_by_label("Measured").fill(f"{measured:.2f}".replace(".", ","))
                stop = float(row.get_by_label("Stop set").input_value())
                assert near(stop, step.stop_set)
                expected = resume(step.springback, stop, measured, step.target, job.display).message
                assert row.locator(".told").inner_text() == expected
                table.append([part.name, part.names[0], str(step.bend), step.die.name, stop, measured])
            assert (setup.steps[0].springback.slope is None) == (part.quantity == 2)
            assert page.evaluate(AMISS) == []
            page.locator(".record summary").click()
            text = page.locator(".record textarea").input_value()
            sheet, lines = text.split("\n\n")
            commands += lines.split("\n")[:-1]
            found = list(csv.DictReader(io.StringIO(sheet)))
            mine = table[-len(setup.steps) :]
            assert [
                [row["part"], row["piece"], row["bend"], row["die"], float(row["stop_deg"]), float(row["angle_deg"])]
                for row in found
            ] == mine
            walls = [float(row["wall_mm"]) for row in found]
            assert walls == pytest.approx([setup.tube.section.wall] * len(walls), abs=1e-4)
        # wrong typing is said; what was typed is there after a reload; a pedal goes on from within a field
        page.locator(".checked").first.get_by_label("Measured").fill("90.x")
        assert "degrees above 0" in page.locator(".told").first.inner_text()
        page.locator(".checked").first.get_by_label("Measured").fill("359")
        assert "measure again" in page.locator(".told").first.inner_text()
        page.reload()
        wait_until_ready(page)
        assert page.locator(".checked").first.get_by_label("Measured").input_value() == "359"
        page.locator(".checked").first.get_by_label("Measured").press("PageDown")
        assert page.locator(".checked").count() == 0
    recorded = 0
    for line in commands:
        program, *words = shlex.split(line)
        assert program == "elbowroom"
        assert command(capsys, *words).status == 0
        recorded += words.count("--record")
    learnt = load_shop(job.shop.source).tests
    assert len(learnt) == 2 + recorded == 2 + len(table)
    assert [[test.stop, test.angle] for test in learnt[2:]] == [row[-2:] for row in table]


#: Of every step: how far the stick before its turn lies from the bend before, along the feed and aside (where the stock
#: swings it is swung back in between); how far the end that swings, bent by the bend's angle about the die, points
#: elsewhere than where Python's motion has it.
MOVES = """([key, targets]) => {
  const page = stages.pages.get(key), room = stages.room;
  const bends = bench.steps.find((s) => s.section.id === key).own.bends;
  const arcs = (parts) => parts.filter((one) => one.bend).flatMap((one) => [one.at[0].c, one.at.at(-1).c]);
  return page.steps.map((step, i) => {
    const own = bends[step.bend], before = page.steps[i - 1], found = { aside: 0, along: 0, turned: 0 };
    if (before && room.ahead) {
      const was = arcs(partsOf(before.bent, 6)), is = arcs(machine.pose(step, room, own.turn, 0));
      const off = was.map((p, k) => V.sub(is[k], p));
      found.aside = Math.max(...off.flatMap((p) => [Math.abs(p[1]), Math.abs(p[2])]));
      found.along = Math.max(...off.map((p) => Math.abs(p[0] - off[0][0])));
      found.count = was.length - is.length;
    }
    const end = (parts) => (room.ahead ? parts[0].at[0].t : parts.at(-1).at.at(-1).t);
    found.turned = V.size(V.sub(end(machine.pose(step, room, 0, targets[step.bend])), end(partsOf(step.bent, 6))));
    return found;
  });
}"""


def hold_moves(page: Any, job: Job) -> None:
    """Every step of every part that can be made as drawn."""
    for part in page_of(job).parts:
        if part.setup is None or not part.setup.steps or part.bad_bends:
            continue
        for move in page.evaluate(MOVES, [part.key, {str(step.bend): step.target for step in part.setup.steps}]):
            assert move["aside"] < 0.1 and move["along"] < 0.1 and move["turned"] < 2e-3 and not move.get("count")


@pytest.mark.slow
def test_the_machine_moves_as_the_bender_does(chromium, demo, tmp_path):
    """Turned and swung, the stick comes from where it was to where Python has it; drawn to the die's size."""
    job, path = demo
    behind = job_of(
        [tube_named("one", rows=((300.0, 0.0, 90.0), (250.0, 70.0, 45.0), (200.0, -120.0, 60.0)))],
        shop(machine=Machine(plane="horizontal", swings="behind", bends_to="right")),
    )
    with at_bench(chromium, written(behind, tmp_path), LYING) as page:
        hold_moves(page, behind)
    with at_bench(chromium, path, LYING) as page:
        hold_moves(page, job)
        # the handle: its second bend is turned to
        number = 1 + next(i for i, part in enumerate(job.parts) if part.name.startswith("HANDLE"))
        step = job.setups[-2].steps[1]
        page.locator(f"#part-{number} [data-bench]").click()
        for _ in range(3):
            page.keyboard.press("PageDown")
        pictures = set()
        for _ in range(40):
            pictures.add(page.evaluate("document.querySelector('#bench-body svg.sketch').innerHTML"))
            if len(pictures) > 3:
                break
            page.wait_for_timeout(100)
        assert len(pictures) > 3, "it moves"
        page.emulate_media(reduced_motion="reduce")
        page.keyboard.press("PageUp")
        page.keyboard.press("PageDown")
        page.wait_for_timeout(300)
        assert not page.locator(".bench-picture[data-moving]").count() and not page.locator(".again").is_visible()
        k, clamp, press, die = page.evaluate(
            """() => {
              const figure = document.querySelector('.bench-picture'), step = bench.steps[bench.at];
              const number = Number(step.task.slice(5)), own = step.own.bends[number];
              const page = stages.pages.get(step.section.id), one = page.steps.find((one) => one.bend === number);
              const box = figure.querySelector('svg.sketch').viewBox.baseVal;
              const k = machine.framed(one, stages.room, own, page.outline[0], { w: box.width, h: box.height }).k;
              const wide = (e) => e.getBBox().width;
              const [press, clamp] = [...figure.querySelectorAll('.jaw')].map(wide);
              return [k, clamp, press, wide(figure.querySelector('.die'))];
            }"""
        )
        assert clamp / k == pytest.approx(step.die.clamp, abs=0.6)
        assert press / k == pytest.approx(step.die.tail, abs=0.6)
        assert die / k == pytest.approx(2.0 * step.die.clr - step.die.size, abs=0.6)


@pytest.mark.slow
def test_bench_view_is_accessible(chromium, demo):
    """axe-core finds nothing in a bend, a check card, a cut, the frame and the end, in light and dark."""
    from axe_playwright_python.sync_playwright import Axe

    job, path = demo
    coped = 1 + next(i for i, part in enumerate(job.parts) if part.quantity == 3)
    steps = [
        f"s.section.id === '{key}' && s.task === '{task}'"
        for key, task in (("part-1", "bend-2"), ("part-1", "measured"), (f"part-{coped}", "cut-A"), ("fit-1", "tube-3"))
    ]
    with at_bench(chromium, path, PHONE, reduced_motion="reduce") as page:
        for scheme, rules in (("light", {}), ("dark", {"runOnly": ["color-contrast"]})):
            page.emulate_media(color_scheme=scheme)
            for step in (*steps, "false"):
                page.evaluate(f"bench.open((bench.steps.findIndex(s => {step}) + 1 || bench.steps.length + 1) - 1)")
                wrong = Axe().run(page, context="#bench-view", options=rules).response["violations"]
                assert [(one["id"], [node["html"][:90] for node in one["nodes"][:3]]) for one in wrong] == [], step


def test_each_tube_is_fitted_after_those_it_is_cut_to():
    assert fit_order(["A", "B", "C"], {"A": ["B"], "B": ["C"]}) == ["C", "B", "A"]
    # a mitred ring with a stay: those that many wait for go first, and nobody is left out
    ring = {"A": ["B", "D"], "B": ["A", "C"], "C": ["B", "D"], "D": ["C", "A"], "STAY": ["A", "C"]}
    order = fit_order(["STAY", *"ABCD"], ring)
    assert sorted(order) == sorted(ring) and order.index("STAY") > max(order.index("A"), order.index("C"))
    assert fit_order(["A", "B"], {"A": ["A", "GONE"]}) == ["A", "B"]


def test_what_the_bench_is_handed_is_the_jobs(tmp_path):
    """The cut at its angles, saw lines read back, and of a shop without a file no command."""
    job = demo_job(tmp_path)
    both, refused = BothUnits("in"), []
    for part in page_of(job).parts:
        value = bench_data(part, job.shop)
        for joint in part.joints:
            end, exact = value["ends"][joint.end], {phi: (od, bore) for phi, od, bore in joint.profile}
            assert len(end["cut"]) == 48
            for i, (cut, bore) in enumerate(zip(end["cut"], end["bore"], strict=True)):
                assert (cut, bore) == pytest.approx(exact[i * 7.5], abs=0.006)
            lines = {line.what: in_unit(line.value, "mm") for line in cut_lines(joint, both)}
            saw = joint.hole_saw
            assert [float(lines[what].split()[0].rstrip("°")) for what in ("Hole saw", "Tilt", "Offset", "Depth")] == (
                pytest.approx([saw.size, saw.from_square, saw.offset, saw.depth], abs=0.0051)
            )
        if part.refusal is not None:
            refused.append(part.name)
            assert set(value) == {"ends"}, "nothing is marked, set or measured of what is not to be made as drawn"
        elif part.setup and part.setup.steps:
            bare = bench_data(part, replace(job.shop, source=""))
            assert {row["command"] for row in bare["check"]["rows"]} == {""}
            assert all(row["command"].startswith("elbowroom springback ") for row in value["check"]["rows"])
            assert [row["bend"] for row in value["check"]["rows"]] == list(range(1, len(part.setup.steps) + 1))
    assert len(refused) == 1
    assert bench_words(replace(job.shop, source=""))["demo"] and not bench_words(job.shop)["demo"]


def test_the_slope_is_only_that_of_test_bends():
    where = shop()
    tests = (Trial("R4.5", None, None, 47.0, 45.0), Trial("R4.5", None, None, 93.0, 90.0))
    for given, slope in (((), None), (tests[:1], None), (tests, 46.0 / 45.0)):
        step = job_of([tube_named("one")], replace(where, tests=given)).setups[0].steps[0]
        assert step.springback.slope == (None if slope is None else pytest.approx(slope))
