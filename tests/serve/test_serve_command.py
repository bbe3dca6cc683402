"""`elbowroom serve` as a person starts it, opens it in a browser, and ends it."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from contextlib import contextmanager
from pathlib import Path

import pytest
from command_line import failed, hook, run
from places import ROOT
from sheet_tools import browser, context_of

#: Seconds after which something that a child should do never comes.
LONG = 120


@contextmanager
def served(folder: Path, *words: str):
    """The command at work: its process and the address it printed; what it leaves in TMPDIR is in the folder."""
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", "converter", "serve", *words],
        cwd=folder,
        env=os.environ | {"TMPDIR": str(folder), "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        yield process, process.stdout.readline().strip()
    finally:
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=LONG)


@pytest.mark.slow
@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_it_serves_until_it_is_stopped_and_leaves_nothing(tmp_path, number, status):
    with served(tmp_path) as (process, address):
        assert re.fullmatch(r"http://127\.0\.0\.1:\d+/[\w-]{16}/", address)
        with urllib.request.urlopen(address, timeout=LONG) as answer:
            assert "Drop a drawing" in answer.read().decode()
        assert [one.name for one in tmp_path.iterdir() if one.name.startswith("elbowroom-")]
        process.send_signal(number)
        out, err = process.communicate(timeout=LONG)
    assert process.returncode == status and out == ""
    assert err.splitlines()[-1] == "Interrupted; nothing more was written."
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_a_stop_does_not_wait_for_what_is_worked_on(tmp_path):
    path = hook(tmp_path / "rail.dxf")
    with served(tmp_path) as (process, address):
        boundary = "b"
        body = (
            f'--{boundary}\r\nContent-Disposition: form-data; name="drawing"; filename="rail.dxf"\r\n\r\n'.encode()
            + path.read_bytes()
            + f"\r\n--{boundary}--\r\n".encode()
        )
        kind = {"Content-Type": f"multipart/form-data; boundary={boundary}"}
        with urllib.request.urlopen(urllib.request.Request(address, body, kind), timeout=LONG) as answer:
            assert answer.url == f"{address}1/"
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=LONG)
    assert process.returncode == 130
    assert [one.name for one in tmp_path.iterdir()] == ["rail.dxf"]


def test_a_port_that_is_taken_is_told(capsys):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        sentence = failed(run(capsys, "serve", "--port", port))
    assert sentence.startswith(f"--port {port} cannot be used (address already in use)")


@pytest.fixture(scope="module")
def chromium():
    with browser() as one:
        yield one


@pytest.mark.slow
@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_in_a_browser(chromium, tmp_path, scripts):
    """A drop is enough where scripts run, a button does it where they do not; axe-core finds nothing."""
    from axe_playwright_python.sync_playwright import Axe

    path = hook(tmp_path / "rail.dxf", layer="RAIL")
    with served(tmp_path) as (_, address):
        context = context_of(chromium, java_script_enabled=scripts, viewport={"width": 360, "height": 740})
        page = context.new_page()
        wrong: list[str] = []
        page.on("console", lambda told: wrong.append(told.text) if told.type == "error" else None)
        page.on("request", lambda request: wrong.append(request.url) if not request.url.startswith(address) else None)
        page.goto(address)
        page.fill("#section", "25x2mm")
        page.set_input_files("#drawing", path)
        if not scripts:
            page.click("text=Work it out")
        sheet = page.frame_locator("iframe")
        sheet.locator("h1", has_text="rail").wait_for()
        assert "25" in sheet.locator("body").inner_text()
        page.click("text=Files")
        page.locator("th", has_text="rail-sheet.pdf").wait_for()
        with page.expect_download() as download:
            page.click("text=All in one ZIP")
        assert download.value.suggested_filename == "rail.zip"
        seen = [page.url, f"{address}?again=1", address]
        for where in seen if scripts else ():
            page.goto(where)
            assert Axe().run(page).response["violations"] == []
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), where
        page.goto(address)
        assert page.input_value("#section") == "25x2mm"
        page.fill("#section", "rubbish")
        page.set_input_files("#drawing", path)
        if not scripts:
            page.click("text=Work it out")
        page.locator(".sentence", has_text="rubbish").wait_for()
        page.click("text=Change what is asked for")
        page.fill("#section", "25x2mm")
        page.click("text=Work it out")
        page.frame_locator("iframe").locator("h1", has_text="rail").wait_for()
        context.close()
    assert [one for one in wrong if "favicon" not in one] == []
