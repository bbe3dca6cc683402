"""Job sheets for the tests, and a browser to look at them."""

from __future__ import annotations

import base64
import json
import os
import re
import shutil
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Any

import pytest

from converter.bending.setup.words import SetupView
from converter.demo.boathouse import JOB_TEXT, STEM
from converter.demo.dxf_drawing import drawing_text
from converter.exporters.files import OutputSet
from converter.exporters.options import WriteOptions
from converter.exporters.sheet import html
from converter.exporters.sheet.content import JobSheet, job_sheet
from converter.job import Job, open_job
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.settings import Settings
from converter.shop.job_file import JobFile
from converter.shop.load import demo_text
from converter.shop.model import Die, Machine, Shop, Trial
from converter.units import Display

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
#: Software rendering: WebGL without a graphics card. Nothing is looked up in a network, at the start or later.
ARGUMENTS = [
    "--no-sandbox",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-quic",
    "--disable-sync",
    "--no-first-run",
]
#: Seconds that anything in the browser may take; reached only where it never comes.
PATIENCE = 120.0
TUBE = Section("round", 38.1, 3.0)
#: Names that try to be something else, and what a page must show of each.
HOSTILE = {
    "<script>alert(1)</script>": "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>': '"><img src=x onerror=alert(1)>',
    "</script></title><b>bold</b>": "</script></title><b>bold</b>",
    "{{ 7*7 }}<a href='javascript:alert(1)'>go</a>": "{{ 7*7 }}<a href='javascript:alert(1)'>go</a>",
    "two\u2028lines": "two[U+2028]lines",
    "left\u202egnp.exe": "left[U+202E]gnp.exe",
    "M" * 120: "M" * 120,
}
EVIL = "</title></script><script>alert(2)</script><b>"


def demo_job(folder: Path, **given: Any) -> Job:
    """The whole demo job, worked out; its files are written to ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    texts = {f"{STEM}.dxf": drawing_text(), "shop.toml": demo_text(), "job.toml": JOB_TEXT}
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    given = {"shop": str(folder / "shop.toml"), "job": str(folder / "job.toml")} | given
    return open_job(str(folder / f"{STEM}.dxf"), Settings(**given))


def shop(**given: Any) -> Shop:
    """A shop with one die, a vertical machine and two test bends; any file stands for its shop file."""
    die = Die("R4.5", "round", 38.1, 114.3, clamp=50.0, between=60.0, tail=40.0, mark_offset=12.0)
    tests = tuple(Trial(die.name, None, None, stop, stop * 0.97) for stop in (45.0, 90.0))
    machine = given.pop("machine", Machine(plane="vertical", pivot_height=1000.0, swings="ahead"))
    return Shop("Test shop", (die,), machine, tests=tests, source=__file__, **given)


def job_of(
    tubes: Sequence[Tube], where: Shop, stem: str = "job", unit: str = "mm", feed_from: str | None = None, **more: Any
) -> Job:
    """A job of tubes made up here, shown in ``unit``."""
    settings = Settings(unit=unit, feed_from=feed_from)
    return Job.of_tubes(tubes, where, source=f"{stem}.dxf", settings=settings, **more)


def tube_named(name: str, at: float = 0.0, rows: Sequence[tuple[float, float, float]] = ()) -> Tube:
    """A tube with two bends out of one plane, ``at`` mm along y."""
    rows = rows or ((300.0, 0.0, 90.0), (250.0, 90.0, 45.0))
    table = BendTable(tuple(Bend(feed, roll, angle, 114.3) for feed, roll, angle in rows), 300.0)
    placement = Placement((0.0, at, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    return Tube(Run(name, "LAYER", False, table, placement), TUBE, metal="mild steel")


def page_of(job: Job) -> JobSheet:
    """The sheet of one job."""
    return job_sheet([job])


def views_of(job: Job, display: Display) -> list[SetupView]:
    """The set-up of every part as the sheet shows it."""
    return [SetupView(setup, display, job.shown.refusal(part)) for part, setup in job.shown.first_setups]


def hostile_job() -> Job:
    """Tubes of their own with every hostile name, of a hostile metal, on a hostile die, in a hostile job."""
    tubes = [
        replace(tube_named(name, 400.0 * i, rows=((300.0 + 5.0 * i, 0.0, 90.0),)), metal=f"{EVIL} steel")
        for i, name in enumerate(HOSTILE)
    ]
    where = shop()
    where = replace(where, name=EVIL, dies=(replace(where.dies[0], name=f"{EVIL} die"),), tests=())
    return job_of(tubes, where, "hostile", job_file=JobFile(name=EVIL))


def written(job: Job, folder: Path) -> Path:
    """The job's sheet, written."""
    with OutputSet(folder, force=True) as out:
        html.export([job], out, WriteOptions(stem=job.stem))
    return out.final(f"{job.stem}-sheet.html")


def packed_block(page: str, name: str) -> Any:
    """What a data block of a page holds deflated: JSON, but for the viewer's script."""
    text = re.search(rf'<script type="text/plain" id="{name}">(.*?)</script>', page, re.DOTALL)
    assert text, name
    plain = zlib.decompress(base64.b64decode(text[1])).decode("utf-8")
    return plain if name == "viewer" else json.loads(plain)


def with_steps(page: str) -> str:
    """A page with steps at the bender, tapes and lines of tasks in their places, as its script puts them there."""
    lines = iter(packed_block(page, "lines"))
    page = re.sub("<template></template>", lambda _: f"<template>{next(lines)}</template>", page)
    assert next(lines, None) is None, "as many as there are templates"
    both = iter([text.split("<hr>") for text in packed_block(page, "steps")])
    out, tape = [], ""
    for part in re.split(r'(<ol class="steps" role="list">|(?<= data-tape>))', page):
        out.append(part)
        if part.startswith("<ol"):
            steps, tape = next(both)
            out.append(steps)
        elif not part:
            out.append(tape)
    return "".join(out)


def in_rounding(page: str, unit: str, words: str = "") -> str:
    """A page with every text in a unit and a rounding (``1/16 in``; the first of the unit when empty)."""
    table = packed_block(page, "texts")
    column = next(i for i, (own, name) in enumerate(table["choices"]) if own == unit and words in ("", name))
    size = len(table["choices"])

    def shown(place: re.Match[str]) -> str:
        return f"{place[1]}{escape(table['texts'][int(place[2], 36) * size + column])}{place[3]}"

    pattern = r"(<(?:u-n|text [^>]*?) ?\bn=([0-9a-z]+)(?: class=long)?>).*?(</(?:u-n|text)>)"
    return re.sub(pattern, shown, with_steps(page), flags=re.DOTALL)


@contextmanager
def browser() -> Iterator[Any]:
    """Chromium as the system has it; nothing is downloaded."""
    from playwright.sync_api import sync_playwright

    path = next((found for found in map(shutil.which, BROWSERS) if found), None)
    if path is None:
        sentence = "The tests look at the job sheet in a real browser: install it with `apt-get install chromium`."
        if os.environ.get("CI"):
            pytest.fail(sentence)
        pytest.skip(sentence)
    with sync_playwright() as playwright:
        one = playwright.chromium.launch(executable_path=path, args=ARGUMENTS, timeout=1000.0 * PATIENCE)
        yield one
        one.close()


def context_of(one: Any, **how: Any) -> Any:
    """A window with a memory of its own, whose waiting ends only where something never comes."""
    context = one.new_context(**how)
    context.set_default_timeout(1000.0 * PATIENCE)
    return context


@contextmanager
def opened(one: Any, path: Path, **how: Any) -> Iterator[Any]:
    """A page, held to what every page must do: no error, no dialog, nothing fetched.

    Args:
        one: the browser.
        path: of the sheet.
        how: for the context: viewport, color_scheme, java_script_enabled...
    """
    before = how.pop("before", "")
    context = context_of(one, **{"viewport": {"width": 1280, "height": 900}} | how)
    if before:
        context.add_init_script(before)
    page = context.new_page()
    wrong: list[str] = []
    address = path.absolute().as_uri()

    def route(found: Any) -> None:
        url = found.request.url
        if url.split("#")[0] == address:
            found.continue_()
        else:
            wrong.append(f"request {url}")
            found.abort()

    page.route("**/*", route)
    page.on("console", lambda said: wrong.append(f"console {said.text}") if said.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(f"error {error}"))
    page.on("dialog", lambda dialog: (wrong.append(f"dialog {dialog.message}"), dialog.dismiss()))
    page.goto(address)
    yield page
    context.close()
    assert wrong == []
