"""What the program stands on, held against the metadata that is installed with it.

Run: python tests/faults/audit.py [--licences]. Prints a line for each fault and one of figures;
ends with 1 where there is a fault. What the installed extras for work on it ask for is audited
too; only what is passed on with the program needs a licence that allows it. --licences writes
pipeline/DEPENDENCIES.md, the list of the licences of all that is installed. Advisories and
withdrawn releases are kept in databases elsewhere, which are not asked.
"""

from __future__ import annotations

import ast
import base64
import hashlib
import json
import re
import sys
import tomllib
from collections.abc import Iterable, Iterator
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from importlib.metadata import packages_distributions as homes_of_modules
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
OWN = "backbench"
FOR_WORK_ON_IT = {"test", "lint", "bench"}
"""Uses whose packages are not passed on with the program."""
MAY_BE_PASSED_ON = re.compile(
    r"\b(MIT|0?BSD|Apache|ISC|PSF|Python Software Foundation|MPL|Mozilla|Zlib|Unlicense|CC0"
    r"|LGPL|Artistic|HPND)\b",
    re.IGNORECASE,
)
"""Licences under which a copy may be passed on with this program."""


def declared(root: Path) -> dict[str, list[Requirement]]:
    """What pyproject.toml asks for: always ("") and for each use."""
    project = tomllib.loads((root / "pyproject.toml").read_text())["project"]
    groups = {"": project["dependencies"], **project.get("optional-dependencies", {})}
    return {use: [Requirement(text) for text in texts] for use, texts in groups.items()}


def imported(package: Path) -> set[str]:
    """Names of the modules from elsewhere that a package imports."""
    result: set[str] = set()
    for path in package.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom) and node.module and not node.level:
                result.add(node.module.partition(".")[0])
            elif isinstance(node, ast.Import):
                result |= {alias.name.partition(".")[0] for alias in node.names}
    return result - set(sys.stdlib_module_names) - {OWN}


def import_faults(modules: set[str], requested: dict[str, list[Requirement]]) -> Iterator[str]:
    """Modules of packages that are not declared; declared packages that nothing imports."""
    homes = homes_of_modules()
    places = {name: {canonicalize_name(home) for home in homes.get(name, [])} for name in modules}
    known = {
        use: {canonicalize_name(one.name) for one in group} for use, group in requested.items()
    }
    for module in sorted(modules):
        if places[module].isdisjoint(set().union(*known.values())):
            yield f"{module} is imported and not declared"
    for name in sorted(known[""] - set().union(*places.values())):
        yield f"{name} is declared and not imported"


def installed(
    requirements: Iterable[Requirement],
) -> tuple[dict[str, Distribution], list[str]]:
    """The distributions asked for with all that they ask for; versions that don't fit."""
    result: dict[str, Distribution] = {}
    faults: list[str] = []
    waiting = [(OWN, one) for one in requirements]
    while waiting:
        asking, wanted = waiting.pop()
        name = canonicalize_name(wanted.name)
        try:
            held = result.get(name) or distribution(name)
        except PackageNotFoundError:
            faults.append(f"{name}, which {asking} asks for, is not installed")
            continue
        if not wanted.specifier.contains(held.version, prereleases=True):
            faults.append(f"{name} {held.version} is installed; {asking} asks for {wanted}")
        if name not in result or wanted.extras:
            waiting += [(name, one) for one in _asked_by(held, wanted.extras)]
        result[name] = held
    return result, faults


def _asked_by(held: Distribution, extras: set[str]) -> Iterator[Requirement]:
    for text in held.requires or []:
        one = Requirement(text)
        settings = [{"extra": extra} for extra in ("", *extras)]
        if one.marker is None or any(one.marker.evaluate(setting) for setting in settings):
            yield one


def licence_of(held: Distribution) -> str:
    """Everything that a distribution says of its licence, the long text left out."""
    about = held.metadata
    first = (about.get("License") or "").strip().partition("\n")[0]
    classes = [text for text in about.get_all("Classifier") or [] if text.startswith("License")]
    return " / ".join(text for text in (about.get("License-Expression"), first, *classes) if text)


def faults_of(held: Distribution) -> Iterator[str]:
    """A licence that is not known to allow passing on, a source of its own, changed files."""
    name, licence = held.metadata["Name"], licence_of(held)
    if not MAY_BE_PASSED_ON.search(licence):
        yield f"{name}: licence {licence or 'not stated'}"
    yield from changes_of(held)


def changes_of(held: Distribution) -> Iterator[str]:
    """A source of its own, and changed files."""
    name = held.metadata["Name"]
    source = held.read_text("direct_url.json")
    if source:
        yield f"{name} was installed from {json.loads(source).get('url')}, not by its name"
    for file in held.files or []:
        if file.hash is not None and file.hash.mode == "sha256":
            path = Path(str(held.locate_file(file)))
            if not path.is_file():
                yield f"{name}: {file} is missing"
            elif _hash(path) != file.hash.value:
                yield f"{name}: {file} is not as it was installed"


def _hash(path: Path) -> str:
    with path.open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").digest()
    return base64.urlsafe_b64encode(digest).decode().rstrip("=")


def of_installed_extras(requested: dict[str, list[Requirement]]) -> dict[str, Distribution]:
    """What the extras for work on the program ask for, where all that they ask for is there."""
    result: dict[str, Distribution] = {}
    for use in sorted(FOR_WORK_ON_IT & requested.keys()):
        own, misfits = installed(
            one for one in requested[use] if canonicalize_name(one.name) != OWN
        )
        if not misfits:
            result |= own
    return result


def licence_list(passed_on: dict[str, Distribution], for_work: dict[str, Distribution]) -> str:
    """The page of licences, a line a distribution."""
    lines = [LIST_HEAD]
    for name, held in sorted({**for_work, **passed_on}.items()):
        use = "the program" if name in passed_on else "work on it"
        lines.append(
            f"| {name} | {held.version} | {licence_of(held)[:100] or 'not stated'} | {use} |"
        )
    return "\n".join(lines) + "\n"


LIST = ROOT / "pipeline" / "DEPENDENCIES.md"
LIST_HEAD = """\
# What is installed with backbench, and under which licences
Made by `python tests/faults/audit.py --licences` from the metadata of each distribution.

| distribution | version | licence, as it says itself | used by |
| --- | --- | --- | --- |"""


def main() -> int:
    requested = declared(ROOT)
    of_the_program = [one for use, group in requested.items() if use not in FOR_WORK_ON_IT
                      for one in group]  # fmt: skip
    faults = [*import_faults(imported(ROOT / "pipeline"), requested)]
    result, misfits = installed(of_the_program)
    faults += misfits
    for _, held in sorted(result.items()):
        faults += faults_of(held)
    extras = of_installed_extras(requested)
    for name in sorted(extras.keys() - result.keys()):
        faults += changes_of(extras[name])
    if "--licences" in sys.argv:
        LIST.write_text(licence_list(result, extras), encoding="utf-8")
    for fault in faults:
        print(fault)
    files = sum(len(held.files or []) for held in {**extras, **result}.values())
    held_for = f"{len(result)} distributions installed for {len(of_the_program)} dependencies"
    more = f"{len(extras.keys() - result.keys())} for work on it"
    print(f"{held_for}, {more}, {files} files: {len(faults)} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
