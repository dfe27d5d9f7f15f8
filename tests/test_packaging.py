"""The engine installs without the web: what it imports, what the extras bring, what is said where they are missing."""

import ast
import functools
import re
import subprocess
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

import webapp

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def distributions(requirements: list[str]) -> set[str]:
    """Names of distributions, in the index's spelling."""
    return {re.split(r"[><=\[; ]", text)[0].lower().replace("_", "-") for text in requirements}


@functools.cache
def imports_of(top: str) -> frozenset[str]:
    """Top-level names that a package imports anywhere, conditional imports included."""
    found: set[str] = set()
    for path in (ROOT / top).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
                found.add(node.module.partition(".")[0])
    return frozenset(found - set(sys.stdlib_module_names))


def owners(names: frozenset[str] | set[str]) -> dict[str, set[str]]:
    """The distributions that bring each name."""
    known = packages_distributions()
    return {name: {one.lower().replace("_", "-") for one in known.get(name, [])} for name in names}


def test_the_engine_needs_nothing_of_the_web() -> None:
    """All that sfn imports comes with the plain install, or with extras of the engine."""
    plain = distributions(PROJECT["dependencies"])
    optional = distributions(PROJECT["optional-dependencies"]["places"] + PROJECT["optional-dependencies"]["frames"])
    along = {"contourpy", "pillow", "pydantic-core"}  # matplotlib and pydantic cannot be without them
    for name, brought_by in owners(imports_of("sfn") - {"sfn"}).items():
        assert (brought_by or {name}) & (plain | optional | along), (
            f"sfn imports {name}, which no plain dependency brings"
        )


def test_every_dependency_is_used_by_its_own_half() -> None:
    """The extra web holds what webapp imports (templates' Leaflet apart), and no plain dependency is for webapp only."""
    used = owners(imports_of("sfn") | imports_of("webapp"))
    of_web, of_engine = (set().union(*owners(imports_of(top)).values()) for top in ("webapp", "sfn"))
    assert used
    for name in distributions(PROJECT["optional-dependencies"]["web"]):
        assert name in of_web | {"django-js-lib-leaflet", "python-multipart"}, f"nothing in webapp imports {name}"
    for name in distributions(PROJECT["dependencies"]):
        assert name in of_engine, f"{name} is no dependency of the engine: it belongs into the extra web"


def test_what_the_web_looks_for_is_what_the_extra_brings() -> None:
    """`webapp.NEEDS` names every distribution of the extra, by a name that it is imported by."""
    brought = set().union(*owners(set(webapp.NEEDS)).values())
    assert brought == distributions(PROJECT["optional-dependencies"]["web"])


@pytest.mark.parametrize("name", ["fastapi", "uvicorn"])
def test_without_the_extra_the_script_names_it(name: str) -> None:
    """A sentence and no traceback."""
    hidden = (
        "import importlib.util as u, runpy, sys\n"
        "found = u.find_spec\n"
        f"u.find_spec = lambda name, package=None: None if name == {name!r} else found(name, package)\n"
        "runpy.run_module('webapp', run_name='__main__')\n"
    )
    done = subprocess.run([sys.executable, "-c", hidden], capture_output=True, text=True, cwd=ROOT, timeout=60)
    assert done.returncode == 1
    assert done.stderr.startswith(f"webapp: not installed: {name}; they come with the extra web")
    assert "Traceback" not in done.stderr


def test_there_is_one_version() -> None:
    """It stands in the package; the build reads it there."""
    assert PROJECT["dynamic"] == ["version"]
    assert "version" not in PROJECT
