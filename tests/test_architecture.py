"""Imports point down, and quantities carry their unit in their name."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

# A module without a rank fails: a new part needs its line here and its sentence in DEVELOPERS.md.
RANKS = {
    "units": 0, "errors": 0, "visible": 0, "kept_code": 0, "in_one_step": 0, "by_identity": 0,
    "plan": 1,
    "geodesy": 2, "antenna": 2, "stream": 2, "clock": 2,
    "terrain": 3, "chain": 3, "propagation": 3, "systems": 3,
    "timing": 4, "pairs": 4, "field": 4, "country": 4,
    "reception": 5, "timeline": 5,
    "check": 6, "solve": 6, "survey": 6,
    "report": 7, "study": 8, "answer": 9,
    "work": 10,
    "library": 11, "webapp": 11, "cli": 12,
}  # fmt: skip

UNIT_SUFFIXES = tuple(
    "_us _ms _s _h _ns _ppb _bytes _bits _km2 _m _km _deg _hz _khz _mhz _db _dbuvm _dbw _dbd _kw _mbps _kbps "
    "_pct _people _n _years _days _per_day _ratio _factor _index _km_per_s _m_per_us _rad _mrad _samples "
    "_us_per_km _probability _n0 _dbk _dbr "
    "_packets _bps _degc _per_degc _us_per_h _ft _dbi _ohm _mb".split()
)


def modules() -> list[Path]:
    """Every module of the engine and the web application."""
    return [p for top in ("sfn", "webapp") for p in sorted((ROOT / top).rglob("*.py"))]


# The rooms of webapp: what is kept, what takes seconds, what is typed, the shell, what several groups show, the groups.
ROOMS = {
    "config": 0, "paper": 0,
    "store": 1,
    "work": 2,
    "forms": 3,
    "shell": 4,
    "standing": 5,
    "front": 6, "describe": 6, "feed": 6, "timing": 6, "coverage": 6, "on_air": 6, "prove": 6,
    "api": 7,
    "app": 8,
    "commands": 9,
}  # fmt: skip


def part_of(dotted: str) -> str | None:
    """The part that a dotted name belongs to, or None outside the project."""
    pieces = dotted.split(".")
    if pieces[0] == "webapp":
        return "webapp"
    if pieces[0] == "sfn":
        return pieces[1] if len(pieces) > 1 else None
    return None


def imported(path: Path) -> set[str]:
    """Dotted names that a module imports, anywhere in it."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_point_strictly_down(path: Path) -> None:
    """A part imports only parts of a lower rank, or itself."""
    own = part_of(".".join(path.relative_to(ROOT).with_suffix("").parts))
    if own in (None, "__init__", "__main__"):
        return
    assert own in RANKS, f"{own} has no rank: add it to RANKS and to DEVELOPERS.md"
    for name in imported(path):
        other = part_of(name)
        if other is None or other == own or other.startswith("__"):
            continue
        assert other in RANKS, f"{path.name} imports {name}, which has no rank"
        assert RANKS[other] < RANKS[own], f"{own} ({RANKS[own]}) imports {name} ({RANKS[other]})"


@pytest.mark.parametrize("path", sorted((ROOT / "webapp").rglob("*.py")), ids=lambda p: str(p.relative_to(ROOT)))
def test_rooms_of_the_application_point_down(path: Path) -> None:
    """A room of webapp imports rooms below it, or itself; groups of pages know nothing of each other."""
    own = path.relative_to(ROOT / "webapp").with_suffix("").parts[0]
    if own.startswith("__"):
        return
    assert own in ROOMS, f"webapp.{own} has no rank: add it to ROOMS and to DEVELOPERS.md"
    for name in imported(path):
        top, _, rest = name.partition(".")
        other = rest.partition(".")[0]
        if top == "webapp" and other != own:
            assert other in ROOMS, f"{path.name} imports {name}, which has no rank"
            assert ROOMS[other] < ROOMS[own], f"{own} ({ROOMS[own]}) imports {name} ({ROOMS[other]})"


def test_no_modules_of_the_application_import_each_other_in_a_circle() -> None:
    """File by file, whatever the room."""
    names = {_dotted(p): p for p in modules()}
    left = {
        name: {one for one in (_module(n, names) for n in imported(path)) if one not in ("", name)}
        for name, path in names.items()
    }
    while free := {name for name, uses in left.items() if not uses & left.keys()}:
        left = {name: uses for name, uses in left.items() if name not in free}
    assert {name: uses & left.keys() for name, uses in left.items()} == {}


def _dotted(path: Path) -> str:
    """A module's name; of a package's own file the package's."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def _module(dotted: str, names: dict[str, Path]) -> str:
    """The module that a dotted name is of; empty where it is none of ours."""
    return next((one for one in (dotted, dotted.rpartition(".")[0]) if one in names), "")


@pytest.mark.parametrize(
    "path", [p for p in modules() if p.parts[-2] != "propagation"], ids=lambda p: str(p.relative_to(ROOT))
)
def test_float_fields_end_in_their_unit(path: Path) -> None:
    """A record's field or a parameter annotated as a plain float names its unit."""
    wrong = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ClassDef):
            wrong += [
                f.target.id
                for f in node.body
                if isinstance(f, ast.AnnAssign) and isinstance(f.target, ast.Name) and _bare(f.annotation, f.target.id)
            ]
    assert not wrong, f"{path.relative_to(ROOT)}: no unit in {wrong}"


def _bare(annotation: ast.expr, name: str) -> bool:
    """Whether a float field lacks a unit (`value`, `least`, ... of a delay field are in that field's own unit)."""
    own_unit = {
        "value",
        "change",
        "zero_at_m_from_a",
        "least",
        "greatest",
        "step",
        "set",
        "h",
        "v",
        "people",
        "before",
        "enter",
        "planned",
        "plan_says",
        "back",
        "at_issue",
        "low",
        "high",
        "probability",
    }
    is_float = ast.unparse(annotation).replace(" ", "") in ("float", "float|None")
    return is_float and name not in own_unit and not any(name.endswith(s) for s in UNIT_SUFFIXES)


def test_no_file_is_longer_than_one_sitting() -> None:
    """No module is longer than 400 lines."""
    long = {
        str(p.relative_to(ROOT)): n for p in modules() if (n := len(p.read_text(encoding="utf-8").splitlines())) > 400
    }
    assert long == {}
