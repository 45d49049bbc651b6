"""The file of exact versions: it holds all that is installed, each with its hashes, and what is installed suits it."""

import os
import re
import tomllib
from importlib.metadata import requires, version
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
PINNED = ROOT / ".ci" / "requirements.txt"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
EXTRAS = PROJECT["project"]["optional-dependencies"]
_HASH = re.compile(r"--hash=sha256:[0-9a-f]{64}")


def pinned():
    """Each package's exact requirements (several where systems differ) and how many files of it have a hash."""
    found = {}
    for line in PINNED.read_text(encoding="utf-8").replace("\\\n", " ").splitlines():
        hashes = _HASH.findall(line)
        requirement = Requirement(line.partition("--hash")[0].strip())
        assert line.split()[-len(hashes) :] == hashes, f"something stands behind the hashes of {requirement}"
        found.setdefault(canonicalize_name(requirement.name), []).append((requirement, len(hashes)))
    return found


def closure():
    """What the project needs here with all of its extras, followed to the end."""
    left = [Requirement(one) for one in [*PROJECT["project"]["dependencies"], *EXTRAS["dev"]]]
    left += [Requirement(one) for extra in ("oidc", "postgresql") for one in EXTRAS[extra]]
    left = [one for one in left if one.name != "coldmorning"]
    seen = set()
    while left:
        one = left.pop()
        if str(one) in seen:
            continue
        seen.add(str(one))
        yield one
        for needed in map(Requirement, requires(one.name) or []):
            wanted = any(
                needed.marker is None or needed.marker.evaluate({"extra": extra}) for extra in ("", *one.extras)
            )
            if wanted:
                left.append(needed)


CLOSURE = sorted(closure(), key=str)


def test_the_file_names_exact_versions_with_hashes_and_no_place_to_fetch_them_from():
    for name, versions in pinned().items():
        for requirement, hashes in versions:
            assert [one.operator for one in requirement.specifier] == ["=="], name
            assert requirement.url is None
            assert hashes >= 1, f"{name} has no hash"
    assert not re.search(r"://|--(?!hash=)|^-", PINNED.read_text(encoding="utf-8"), re.MULTILINE)


@pytest.mark.parametrize("requirement", CLOSURE, ids=map(str, CLOSURE))
def test_whatever_is_needed_stands_in_the_file_and_what_is_installed_suits_it(requirement):
    name = canonicalize_name(requirement.name)
    here = [one for one, _ in pinned().get(name, []) if one.marker is None or one.marker.evaluate()]
    assert len(here) == 1, f"{name} stands {len(here)} times in {PINNED.name}: renew it (DEVELOPERS.md)"
    exact = next(iter(here[0].specifier)).version
    assert requirement.specifier.contains(exact, prereleases=True), f"{requirement} leaves out the pinned {exact}"
    assert requirement.specifier.contains(version(name), prereleases=True)
    if os.environ.get("CI") == "true":
        assert version(name) == exact


@pytest.mark.parametrize("name", [*PROJECT["build-system"]["requires"], "editables"])
def test_what_builds_the_project_stands_in_the_file(name):
    assert canonicalize_name(Requirement(name).name) in pinned()


def test_every_direct_requirement_has_an_upper_bound():
    for requirement in map(Requirement, PROJECT["project"]["dependencies"]):
        assert any(one.operator == "<" for one in requirement.specifier), requirement


def test_files_for_other_systems_have_hashes_too():
    """A package that is compiled has a file for each system: the hashes are more than this machine's."""
    for name in ("numpy", "pydantic-core", "sqlalchemy", "typst"):
        assert min(hashes for _, hashes in pinned()[name]) > 10
    assert "colorama" in pinned()  # needed on Windows alone
