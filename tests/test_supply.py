"""What comes from others: under licences that allow it, with lower bounds, and without the network at run time."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tomllib

import pytest
from command_line import hook
from places import DOCS, ROOT

sys.path.append(str(DOCS))

from make_licences import direct_packages, is_allowed, licence_of, needed_packages


def test_the_page_of_licences_names_what_the_program_needs():
    page = (DOCS / "licences.md").read_text(encoding="utf-8")
    listed = set(re.findall(r"^\| \*\*([a-z0-9-]+)\*\* \|", page, re.MULTILINE))
    assert listed == set(direct_packages()), "run docs/make_licences.py"
    for name, package in needed_packages().items():
        if name in listed:
            assert f"| {licence_of(package)} |" in page, f"{name} changed its licence: run docs/make_licences.py"


def test_every_licence_of_what_is_installed_is_on_the_list():
    found = {name: licence_of(package) for name, package in needed_packages().items()}
    assert len(found) > len(direct_packages())
    assert {name: licence for name, licence in found.items() if not is_allowed(licence)} == {}


@pytest.mark.parametrize(
    ("licence", "allowed"),
    [
        ("MIT", True),
        ("Apache-2.0 AND MIT", True),
        ("GNU Lesser General Public License v3 or later (LGPLv3+)", True),
        ("GPL-2.0-only OR MIT", True),
        ("GNU General Public License v3 (GPLv3)", False),
        ("AGPL-3.0-only", False),
        ("GNU Affero General Public License v3", False),
        ("MIT AND GPL-3.0-only", False),
        ("Other/Proprietary License", False),
        ("not named", False),
    ],
)
def test_the_list_tells_licences_apart(licence, allowed):
    assert is_allowed(licence) == allowed


def test_every_dependency_has_a_lower_bound():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = [text for some in project["optional-dependencies"].values() for text in some]
    for text in (*project["dependencies"], *extras):
        assert ">=" in text or text.startswith("elbowroom["), text


#: Runs command lines in one process in which any use of the network is an end with status 99.
_CUT_OFF = """
import os, socket, sys
def refuse(*given, **named):
    os.write(2, b"the network was used\\n")
    os._exit(99)
for name in ("connect", "connect_ex", "sendto", "sendmsg", "bind"):
    setattr(socket.socket, name, refuse)
for name in ("getaddrinfo", "gethostbyname", "gethostbyname_ex", "create_connection"):
    setattr(socket, name, refuse)
if sys.argv[1:] == ["try"]:
    import urllib.request
    urllib.request.urlopen("http://127.0.0.1:9/")
from converter.cli.main import main
line = []
for word in [*sys.argv[1:], ";"]:
    if word != ";":
        line.append(word)
        continue
    status = main(line)
    if status > 1:
        sys.exit(status)
    line = []
"""


def _cut_off(*words: object) -> subprocess.CompletedProcess[str]:
    """A child without network: refused by Python, and where that is allowed by the system, for its children too."""
    command = [sys.executable, "-c", _CUT_OFF, *map(str, words)]
    unshare = shutil.which("unshare")
    if unshare and subprocess.run([unshare, "-rn", "true"], capture_output=True, check=False).returncode == 0:
        command = [unshare, "-rn", *command]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=230)


@pytest.mark.slow
def test_no_command_uses_the_network(tmp_path):
    drawing = hook(tmp_path / "a.dxf")
    section = ("--section", "40x2mm")
    done = _cut_off(
        "demo", "--out", tmp_path / "demo", ";",
        "sheet", drawing, *section, "--out", tmp_path / "sheet", ";",
        "convert", drawing, *section, "--out", tmp_path / "out", "--to", "step,stl,3mf,glb,template-pdf,png,svg", ";",
        "table", tmp_path / "out" / "a.step", "--json", ";",
        "cutlist", drawing, *section, "--bar", "6m", "--seconds", "0.2",
    )  # fmt: skip
    assert done.returncode in (0, 1), done.stderr[-800:]
    assert (tmp_path / "demo").is_dir() and len(list((tmp_path / "out").iterdir())) == 7


def test_the_cut_bites():
    assert _cut_off("try").returncode == 99
