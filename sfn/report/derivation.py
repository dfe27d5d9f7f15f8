"""A path's loss as a derivation that a colleague can check on paper: every quantity, its meaning, its numbers."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

from sfn.field.path import PathLevels
from sfn.report.numbers import number

NAMES_FILE = Path(__file__).with_name("p1812_names.toml")
DECIMALS = {"km": 3, "m": 2, "mrad": 3, "dB": 2, "dBµV/m": 2, "°": 4, "%": 3}
# Factors and angles per angle.
OTHER_DECIMALS = 4


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity: its name in the model, its symbol, unit and meaning, and its number at each percentage of time."""

    name: str
    symbol: str
    unit: str
    meaning: str
    values: tuple[str, ...]
    same: bool


@dataclass(frozen=True, slots=True)
class Part:
    """Quantities that belong together."""

    title: str
    rows: tuple[Quantity, ...]


def derivation(levels: PathLevels) -> tuple[Part, ...]:
    """Every intermediate of a path in the order in which it is worked out.

    Parameters
    ----------
    levels : PathLevels
        From `sfn.field.path.path_levels`.

    Returns
    -------
    parts : tuple of Part
        Empty when there is no loss. `same` is True where a quantity does not depend on the percentage of time.
    """
    if not levels.loss:
        return ()
    groups = tomllib.loads(NAMES_FILE.read_text(encoding="utf-8"))["group"]
    parts = []
    for group in groups:
        rows = tuple(_quantity(row, levels) for row in group["rows"] if row[0] in levels.loss[0].intermediates)
        if rows:
            parts.append(Part(group["title"], rows))
    return tuple(parts)


def _quantity(row: list[str], levels: PathLevels) -> Quantity:
    """One row with its numbers."""
    name, symbol, unit, meaning = row
    values = [one.intermediates[name] for one in levels.loss]
    texts = tuple(number(value, DECIMALS.get(unit, OTHER_DECIMALS)) for value in values)
    return Quantity(name, symbol, unit, meaning, texts, len(set(values)) == 1)
