"""README and DEVELOPERS.md stay true: every command, part, setting and page stands in them."""

import re
from dataclasses import fields
from pathlib import Path

import pytest

from sfn.cli import COMMANDS
from tests.test_architecture import RANKS
from webapp.config import settings
from webapp.config.settings import Settings
from webapp.shell.tabs import GROUPS

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_stands_in_the_readme(command: str) -> None:
    """A newcomer finds each command with what it does."""
    assert re.search(rf"`(python -m sfn )?{command}\b", README), f"README.md does not name the command {command}"


@pytest.mark.parametrize("part", sorted(set(RANKS) - {"cli", "webapp"}))
def test_every_part_stands_in_developers(part: str) -> None:
    """A part without its sentence is a part nobody finds."""
    assert f"`{part}`" in DEVELOPERS, f"DEVELOPERS.md does not name the part {part}"


@pytest.mark.parametrize("name", [field.name for field in fields(Settings) if field.name != "limits"])
def test_every_setting_is_described(name: str) -> None:
    """The table at the head of the settings names each of them."""
    assert f"`{name}`" in (settings.__doc__ or "")


def test_the_job_stands_in_the_first_paragraph() -> None:
    """README.md begins with what it is for, and has the two commands."""
    first = README.split("\n\n")[1]

    assert "one frequency" in first
    assert "make run" in README
    assert "make test" in README


def test_tabs_are_named_once() -> None:
    """No two pages of a network share a key or a label."""
    tabs = [tab for group in GROUPS for tab in group.tabs]
    keys, labels = [tab.key for tab in tabs], [tab.label for tab in tabs]

    assert len(set(keys)) == len(keys)
    assert len(set(labels)) == len(labels)


def test_one_number_is_made_in_four_files_and_what_carries_it_does_not_know_it() -> None:
    """The trace of the added delay from form to sheet: whoever changes its meaning opens these and no other."""
    section = DEVELOPERS.partition("## One number, from form to sheet")[2].partition("\n## ")[0]
    blocks = [block.splitlines() for block in section.split("```")[1::2]]
    made, carried = ([path for line in lines for path in re.findall(r"\S+\.(?:py|html)\b", line)] for lines in blocks)
    assert 1 <= len(made) <= 4
    for path in made:
        assert NUMBER.search((ROOT / path).read_text(encoding="utf-8")), f"{path} does not name the number"
    assert len(carried) >= 5
    for path in carried:
        assert not NUMBER.search((ROOT / path).read_text(encoding="utf-8")), f"{path} knows the number by name"


NUMBER = re.compile(r"\b(?:added|latency)_us\b")
