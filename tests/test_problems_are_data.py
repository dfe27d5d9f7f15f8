"""Every problem bears a code, and nothing finds a meaning, a site or a field by looking into its sentence.

A name may stand inside another name (`Ridge` in `Ridge south`, `gap` in `gap.2`), and sentences are rewritten: what
programs go by are `code`, `touches`, `stages`, `fields` and `values`.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from sfn.errors import PlanError, Problem, Touch

ROOT = Path(__file__).parent.parent
MODULES = [path for base in ("sfn", "webapp") for path in sorted((ROOT / base).rglob("*.py"))]
CODE = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
TEXTS = ("what", "expected", "where")
# Looks into a text, whatever it finds there.
SEARCHES = (
    "startswith", "endswith", "removeprefix", "removesuffix", "partition", "rpartition", "split", "rsplit", "find",
    "rfind", "index", "count", "replace", "casefold", "lower",
)  # fmt: skip


def parsed(path: Path) -> ast.Module:
    """A module's tree."""
    return ast.parse(path.read_text(encoding="utf-8"))


def codes_of(node: ast.expr) -> Iterator[ast.expr]:
    """The expressions that a code may come from: both ends of a choice, every value of a table that is looked up."""
    if isinstance(node, ast.IfExp):
        yield from codes_of(node.body)
        yield from codes_of(node.orelse)
    else:
        yield node


def passed_on(node: ast.expr) -> bool:
    """Whether a code comes from elsewhere: another problem's, or a name or a record that was given one."""
    return isinstance(node, ast.Name | ast.Attribute | ast.Subscript) or (
        isinstance(node, ast.JoinedStr)
        and all(isinstance(v, ast.FormattedValue) or CODE.fullmatch(f"x{v.value}x") for v in node.values)  # type: ignore[attr-defined]
    )


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_every_problem_names_its_kind(path: Path) -> None:
    """A literal of lower-case words with hyphens, wherever a code is given; every `Problem(` gives one."""
    for node in ast.walk(parsed(path)):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        given = [keyword.value for keyword in node.keywords if keyword.arg == "code"]
        if name == "Problem":
            assert given or any(keyword.arg is None for keyword in node.keywords), f"line {node.lineno} has no code"
        if name in ("Problem", "no", "refuse", "problem") or name.startswith("_"):
            for value in (one for expression in given for one in codes_of(expression)):
                literal = isinstance(value, ast.Constant) and CODE.fullmatch(str(value.value))
                assert literal or passed_on(value), f"line {value.lineno}: {ast.unparse(value)} is no code"


def looks_into_text(node: ast.AST) -> bool:
    """Whether an expression searches a problem's sentence or its place."""

    def text(of: ast.AST) -> bool:
        return isinstance(of, ast.Attribute) and of.attr in TEXTS and getattr(of.value, "id", "") not in ("np", "self")

    if isinstance(node, ast.Compare):
        within = any(
            isinstance(op, ast.In | ast.NotIn) and text(right)
            for op, right in zip(node.ops, node.comparators, strict=True)
        )
        sentences = (side for side in (node.left, *node.comparators) if text(side))
        equal = any(isinstance(op, ast.Eq | ast.NotEq) for op in node.ops)
        return within or (equal and any(side.attr in ("what", "expected") for side in sentences))  # type: ignore[attr-defined]
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        searched = node.func.attr in SEARCHES and text(node.func.value)
        by_pattern = node.func.attr in ("search", "match", "fullmatch", "findall", "finditer", "sub")
        return searched or (by_pattern and any(text(argument) for argument in node.args))
    return False


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_nothing_is_found_in_a_sentence(path: Path) -> None:
    """Neither ``in problem.what`` nor ``problem.where.startswith``: codes, touches and parsed places instead."""
    found = [node for node in ast.walk(parsed(path)) if looks_into_text(node)]

    assert [] == [f"line {getattr(node, 'lineno', 0)}: {ast.unparse(node)}" for node in found]


@pytest.mark.parametrize(
    ("source", "caught"),
    [
        ('"silent" in p.what', True),
        ("name not in problem.expected", True),
        ("p.where.startswith(about)", True),
        ('re.search(r"line", p.where)', True),
        ('problem.what == "is missing"', True),
        ("p.where in names", False),
        ("np.where(a == b)", False),
        ("p.code == 'silent'", False),
    ],
)
def test_the_search_finds_what_it_should(source: str, caught: bool) -> None:
    """The test above can fail."""
    assert caught is any(looks_into_text(node) for node in ast.walk(ast.parse(source)))


def test_names_within_names_share_no_fault() -> None:
    """`Ridge` and `Ridge south`, `gap` and `gap.2`."""
    south = Problem("sites[1]", "site Ridge south: runs dry", "more", code="buffer-underrun", touches=(Touch("gap.2"),))

    assert south.touching("gap.2")
    assert not south.touching("gap")
    assert ("gap.2",) == south.sites
    with pytest.raises(TypeError, match="code"):
        Problem("sites[1]", "has no kind", "a kind")  # type: ignore[call-arg]
    assert "sites[1]: site Ridge south: runs dry; more" == str(PlanError([south]))
