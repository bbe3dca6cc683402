"""Write docs/licences.md: what is installed with elbowroom and under which licence, from the packages' own metadata."""

from __future__ import annotations

import re
import sys
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs" / "licences.md"

#: Licences that the program may be installed beside, as written in metadata: free to use at work, to copy and to pass
#: on. The weak copyleft ones (LGPL, MPL) bind only who changes those libraries themselves.
ALLOWED = (
    "MIT", "BSD", "Apache", "PSF", "Python Software Foundation", "ISC", "Zlib", "Unlicense", "HPND", "CNRI", "0BSD",
    "MPL",
    "Mozilla", "LGPL", "Lesser General Public License", "Public Domain", "CC0", "FTL", "BSL", "Boost",
)  # fmt: skip


def needed_packages(name: str = "elbowroom") -> dict[str, Distribution]:
    """Everything that is installed because of a package, without extras, by name; the package itself left out.

    A dependency whose marker does not hold here, or that is not installed, is left out.
    """
    found: dict[str, Distribution] = {}
    todo = [*_requirements(name)]
    while todo:
        one = todo.pop()
        if one in found:
            continue
        try:
            found[one] = distribution(one)
        except PackageNotFoundError:
            continue
        todo += _required_by(found[one])
    return dict(sorted(found.items()))


def direct_packages() -> list[str]:
    """What pyproject.toml names, normalized."""
    return sorted(_requirements("elbowroom"))


def _requirements(name: str) -> list[str]:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["name"] == name
    return [_name_of(text) for text in project["dependencies"]]


def _required_by(package: Distribution) -> list[str]:
    from packaging.requirements import Requirement

    wanted = [Requirement(text) for text in package.requires or []]
    return [_name_of(one.name) for one in wanted if one.marker is None or one.marker.evaluate({"extra": ""})]


def _name_of(requirement: str) -> str:
    """The normalized name (PEP 503) of a requirement."""
    return re.sub(r"[-_.]+", "-", re.split(r"[\s\[<>=!~;(]", requirement, maxsplit=1)[0]).lower()


def licence_of(package: Distribution) -> str:
    """The licence a package's metadata names: its expression, else its classifiers, else its text's first line."""
    meta = package.metadata
    if expression := meta.get("License-Expression"):
        return str(expression)
    classified = [
        text.rpartition(" :: ")[2] for text in meta.get_all("Classifier") or [] if text.startswith("License ::")
    ]
    classified = [text for text in classified if text != "OSI Approved"]
    if classified:
        return ", ".join(classified)
    text = (meta.get("License") or "").strip().splitlines()
    return text[0][:60] if text else "not named"


def is_allowed(licence: str) -> bool:
    """Whether one of a licence's alternatives is on the list."""
    return any(re.search(rf"(?<![A-Za-z]){re.escape(word)}", licence) for word in ALLOWED) and not re.search(
        r"(?<!L)(?<!Lesser )GPL(?!.*\bOR\b)|Affero|Proprietary|Commercial", licence
    )


def page_text() -> str:
    """The page."""
    direct = set(direct_packages())
    lines = [
        "# Licences of what is installed",
        "",
        "elbowroom itself is under the MIT licence. `python docs/make_licences.py` writes this page from the metadata",
        "of the installed packages; a test holds it to what pyproject.toml names and to a list of licences. In bold",
        "what elbowroom names, the others come with those. Versions are those of the machine that wrote the page.",
        "Wheels carry libraries of their own: cadquery-ocp the CAD kernel Open CASCADE (LGPL 2.1 with an exception,",
        "from memory), others what their own licence files list.",
        "",
        "| package | version | licence |",
        "|---|---|---|",
    ]
    for name, package in needed_packages().items():
        shown = f"**{name}**" if name in direct else name
        lines.append(f"| {shown} | {package.version} | {licence_of(package)} |")
    return "\n".join(lines) + "\n"


def main() -> int:
    """Write the page; the exit status is 1 where a licence is not allowed."""
    PAGE.write_text(page_text(), encoding="utf-8")
    wrong = {name: licence_of(one) for name, one in needed_packages().items() if not is_allowed(licence_of(one))}
    for name, licence in wrong.items():
        print(f"{name}: {licence}", file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
