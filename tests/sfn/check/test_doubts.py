"""Every kind of doubt that the check can raise stands in the one table."""

import ast
import re
from pathlib import Path

import pytest

from sfn.check.doubts import DOUBTS

SFN = Path(__file__).parents[3] / "sfn"
RAISING = [
    *(SFN / "check").glob("*.py"),
    *(SFN / "timing").glob("*.py"),
    *(
        SFN / name
        for name in ("stream/off_air.py", "reception/off_air.py", "geodesy/plausible.py", "geodesy/questions.py")
    ),
]
# A word of the table itself, not the name of a doubt.
NO_CODES = {"sign-off"}
# What is asked for and is not there: refused where it is asked, in no document.
REFUSED = {"unknown-state"}


def codes_in(path: Path) -> set[str]:
    """Words with hyphens that stand alone as text: the codes of problems."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    texts = {n.value for n in ast.walk(tree) if isinstance(n, ast.Constant) and isinstance(n.value, str)}
    return {text for text in texts if re.fullmatch(r"[a-z]+(-[a-z]+)+", text)} - NO_CODES - REFUSED


@pytest.mark.parametrize("path", RAISING, ids=lambda p: f"{p.parent.name}/{p.name}")
def test_every_code_has_its_line(path: Path) -> None:
    """A new check says in the table what it does to a sheet; the trust page shows it."""
    assert codes_in(path) <= set(DOUBTS)


def test_the_walk_sees_codes() -> None:
    """The walk above is not blind: it finds the buffer that runs empty."""
    assert "buffer-underrun" in codes_in(SFN / "check" / "chains.py")
