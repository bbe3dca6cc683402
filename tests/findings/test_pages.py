"""The pages about findings, shop and job files say what the program does."""

import re
import runpy
import tomllib

import pytest
from places import ROOT

from converter.findings import CODES
from converter.shop import job_file, load
from converter.shop.job_file import job_from_text
from converter.shop.load import shop_from_text

DOCS = ROOT / "docs"


def test_the_findings_page_is_the_programs_own_list():
    made = runpy.run_path(str(DOCS / "make_findings.py"))["findings_markdown"]()
    assert (DOCS / "findings.md").read_text(encoding="utf-8") == made, "run: python docs/make_findings.py"


def test_every_code_is_said_somewhere():
    text = "".join(
        path.read_text(encoding="utf-8") for path in (ROOT / "converter").rglob("*.py") if path.name != "findings.py"
    )
    unused = [code for code in CODES if f'"{code}"' not in text]
    assert not unused, f"defined but never said: {unused}"


def tables_of(page):
    """The keys in the first column of each table of a page, by the heading above it."""
    found, heading = {}, ""
    for line in (DOCS / page).read_text(encoding="utf-8").splitlines():
        if line.startswith("#"):
            heading = line.lstrip("# ")
        row = re.match(r"\| `(\w+)`", line)
        if row:
            found.setdefault(heading, []).append(row[1])
    return found


@pytest.mark.parametrize(
    ("heading", "fields"),
    [
        ("[machine]", load.MACHINE),
        ("[[machine.box]]", load.BOX),
        ("[[die]]", load.DIE),
        ("[[metal]]", load.METAL),
        ("[[stock]]", load.STOCK),
        ("[[test]]", load.TEST),
        ("[[hole_saw]]", load.HOLE_SAW),
    ],
)
def test_the_shop_page_describes_exactly_the_keys_there_are(heading, fields):
    assert tables_of("shop-file.md")[heading] == list(fields)


def test_the_job_page_describes_exactly_the_keys_there_are():
    assert tables_of("job-file.md")["What may be said"] == list(job_file.CHOICE)
    assert tables_of("job-file.md")["[[joint]]"] == list(job_file.JOINT)


@pytest.mark.parametrize(("page", "read"), [("shop-file.md", shop_from_text), ("job-file.md", job_from_text)])
def test_the_examples_load(page, read):
    examples = re.findall(r"```toml\n(.*?)```", (DOCS / page).read_text(encoding="utf-8"), re.DOTALL)
    assert examples
    for example in examples:
        tomllib.loads(example)
        read(example, page)
