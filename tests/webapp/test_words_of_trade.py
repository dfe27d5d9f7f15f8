"""The words that the trade uses, in every sentence that people read; keys, form names, codes and options stay as they are.

Read are literals of Python with a space in them, docstrings of the document's fields (they are the help of forms), templates,
scripts, the guide and README. Docstrings of code are for whoever changes it.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.webapp.test_words_of_state import TOP, files

# The word that stood there once, and the one that people know.
INSTEAD = {
    r"\bmisclosures?\b": "closure error",
    r"\bmend(?:s|ed|ing)?\b": "correct, corrected",
    r"\b(?:may|can) be off\b(?! the licence)|\bOff by\b(?! default)": "uncertainty",
    r"\bloops? of three\b": "triangle check",
    r"\bruns? dry\b": "buffer underrun",
    r"\bupset by our own\b": "self-interference",
    r"\bhurts most\b": "main interferer",
    r"\bstart number\b": "random seed",
    r"\bleave alone\b": "keep fixed",
    r"\bwhat counts:": "weighting",
    r"\b[Gg]o along it\b|\b[Ww]ork it out\b": "calculate",
    r"\bsilence at change-?over\b": "audio break",
    r"\blapse of refractivity\b": "refractivity gradient",
    r"\bparity (?:packets|and repeats|restores)\b": "FEC",
}
RULE = re.compile("|".join(INSTEAD))
# What a code is, as scripts read it: people are shown its words.
CODES = ("upset by our own sites",)


def read_by_people(file: Path) -> Iterator[str]:
    """Sentences of a file that somebody who does not program may see."""
    text = file.read_text(encoding="utf-8")
    if file.suffix == ".py":
        yield from _literals(ast.parse(text), fields="sfn/plan" in str(file))
    elif file.suffix == ".html":
        yield from re.sub(r"\{#.*?#\}|\{%.*?%\}|(?:id|class|href|name)=\"[^\"]*\"", "", text, flags=re.S).splitlines()
    elif file.suffix == ".js":
        yield from (line for line in text.splitlines() if not line.lstrip().startswith("//"))
    else:
        yield from text.splitlines()


def _literals(tree: ast.AST, *, fields: bool) -> Iterator[str]:
    """Texts of more than one word; those that stand alone are docstrings."""
    alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(one.value) if isinstance(one, ast.Constant) else "X" for one in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            people = fields or id(node) not in alone
            if people and " " in node.value.strip() and node.value not in CODES:
                yield node.value


def test_every_sentence_has_the_words_of_the_trade() -> None:
    """None of the old words is left in what people read."""
    # DEVELOPERS.md is for programmers, and names the code's own words.
    read = [one for one in files() if one.name != "DEVELOPERS.md"]
    wrong = [
        f"{file.relative_to(TOP)}: {' '.join(said[max(0, found.start() - 40) : found.end() + 40].split())}"
        for file in read
        for said in read_by_people(file)
        for found in RULE.finditer(said)
    ]
    assert wrong == []
    assert len(read) > 500


@pytest.mark.parametrize(
    "said",
    [
        "its launch may be off by 3 us",
        "until it is mended",
        "the misclosure of the triangle",
        "Off by",
        "parity packets",
    ],
)
def test_the_rule_bites(said: str) -> None:
    """A sentence as they were is found."""
    assert RULE.search(said)


@pytest.mark.parametrize(
    "said", ["misclosure_us", "signed off by AE", "Off by default", "--parity column", "recommended"]
)
def test_keys_and_other_words_pass(said: str) -> None:
    """Keys, options and words that only look alike are let be."""
    assert not RULE.search(said)
