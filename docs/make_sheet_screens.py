"""Makes docs/sheet-job.png and docs/sheet-bender.png from the demo job's HTML sheet.

    python docs/make_sheet_screens.py

Looks at it in Chromium, as tests/exporters/sheet/test_sheet_browser.py does; nothing in the program depends on this
script.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent
ARGUMENTS = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]


def page_of(browser: Any, sheet: Path, width: int, height: int) -> Any:
    """The sheet in a window of this size."""
    page = browser.new_page(viewport={"width": width, "height": height})
    page.goto(sheet.as_uri())
    return page


def show(page: Any, selector: str, down: int = 0) -> None:
    """Scroll there and wait for its 3D views."""
    page.evaluate(
        "([selector, down]) => { document.querySelector(selector).scrollIntoView(); scrollBy(0, down); }",
        [selector, down],
    )
    page.wait_for_timeout(4000)


def save(page: Any, name: str) -> None:
    """The window as a small PNG."""
    page.screenshot(path=HERE / name)
    Image.open(HERE / name).convert("RGB").quantize(128).save(HERE / name, optimize=True)


def main() -> None:
    """Write the demo, open its sheet, photograph it."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        command = [sys.executable, "-m", "converter", "demo", "--out", name, "--quiet"]
        subprocess.run(command, check=False, stdout=subprocess.DEVNULL)
        sheet = next(Path(name).rglob("*-sheet.html"))
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        page = page_of(browser, sheet, 1280, 900)
        show(page, ".whole", 0)
        save(page, "sheet-job.png")
        page = page_of(browser, sheet, 820, 1080)
        show(page, "#part-6 .bender", 0)
        for _ in range(2):
            page.locator("#part-6 [data-move='1']").click()
        page.wait_for_timeout(1500)
        save(page, "sheet-bender.png")
        browser.close()


if __name__ == "__main__":
    main()
