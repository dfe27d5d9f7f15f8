"""Which lines, and which column, of a log are of the network's channel."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from sfn.errors import PlanError, Problem
from sfn.plan.number_text import decimal
from sfn.survey.log_about import About, Reading
from sfn.survey.log_lines import LogTable, Titled, average_of, frequency_of

_FREQUENCY = re.compile(r"(\d+(?:[.,]\d+)?(?:[eE]\+?\d{1,2})?)\s*([kKmM]?[hH]z)?\s*", re.ASCII)
# How far a receiver's frequency may stand off the network's: half a channel of FM, less than one of digital systems.
_NARROW_MHZ, _WIDE_MHZ = 0.06, 0.6


@dataclass(frozen=True, slots=True)
class Mine:
    """Which lines are of the channel, which of them cannot be told, and how it was found."""

    lines: list[bool]
    told: tuple[str, ...] = ()
    wrong: dict[int, str] = field(default_factory=dict)


def lines_of_channel(table: LogTable, *, of: About, how: Reading) -> Mine:
    """Lines of the network's channel; where columns are channels `column_of_level` finds the one.

    Raises
    ------
    PlanError
        If there are several channels and nothing says which is meant, or none is the network's.
    """
    wanted = how.channel.strip().lower()
    channels = [line.text("channel").strip().lower() for line in table.lines]
    if wanted and wanted in channels:
        return Mine([c == wanted for c in channels], (f"lines of channel {how.channel}",))
    column = next((c for c in table.columns if c.key == "frequency"), None)
    if column is not None and of.frequency_mhz is not None:
        return _of_frequency(table, column, of)
    named = sorted({c for c in channels if c})
    if len(named) > 1:
        mine = [c for c in named if is_mine(frequency_of(c), of)]
        if len(mine) != 1:
            raise PlanError([_several(named, source=table.source)])
        return Mine([c == mine[0] for c in channels], (f"lines of channel {mine[0]}",))
    return Mine([True] * len(channels))


def column_of_level(columns: tuple[Titled, ...], *, of: About, how: Reading, source: str) -> int | None:
    """The column of the level, of several the network's channel or the average; None where there is none.

    Raises
    ------
    PlanError
        If nothing says which of several is meant.
    """
    found = [k for k, c in enumerate(columns) if c.key == "level"]
    if len(found) <= 1:
        return found[0] if found else None
    names = [columns[k].channel or columns[k].title.lower() for k in found]
    wanted = how.channel.strip().lower()
    chosen = [k for k, n in zip(found, names, strict=True) if wanted and wanted in (n, columns[k].title.lower())]
    chosen = chosen or [k for k, n in zip(found, names, strict=True) if is_mine(frequency_of(n), of)]
    if not chosen and (average := average_of(names)):
        chosen = [found[names.index(average)]]
    if not chosen and how.level_unit:
        chosen = [k for k in found if columns[k].unit == how.level_unit]
    field_strength = [k for k in found if columns[k].unit == "dBuV/m"]
    if not chosen and len(field_strength) == 1 and all(not columns[k].channel for k in found):
        chosen = field_strength  # one reading in several units: field strength as the receiver knows it
    if len(chosen) != 1:
        raise PlanError([_several([columns[k].title for k in found], source=source)])
    return chosen[0]


def is_mine(mhz: float | None, of: About) -> bool:
    """Whether a frequency is the network's."""
    most_mhz = _NARROW_MHZ if of.narrow else _WIDE_MHZ
    return mhz is not None and of.frequency_mhz is not None and abs(mhz - of.frequency_mhz) <= most_mhz


def _of_frequency(table: LogTable, column: Titled, of: About) -> Mine:
    """Lines whose column of frequency holds the network's."""
    seen = [_mhz(line.text("frequency"), column.unit) for line in table.lines]
    there = sorted({f for f in seen if f is not None})
    if there and not any(is_mine(f, of) for f in there):
        listed = ", ".join(f"{f:g} MHz" for f in there[:8])
        what = f"no line of it is of {of.frequency_mhz:g} MHz: it has {listed}"
        raise PlanError([Problem(table.source, what, "a log of this network", code="log-other-frequency")])
    several = len(there) > 1
    untold = "does not say of which frequency it is"
    wrong = {k: untold for k, f in enumerate(seen) if f is None} if several else {}
    told = (f"lines of {of.frequency_mhz:g} MHz, of {len(there)} frequencies",) if several else ()
    return Mine([f is None or is_mine(f, of) for f in seen], told, wrong)


def _several(named: Sequence[str], *, source: str) -> Problem:
    """The question of which channel is meant."""
    what = f"it holds several channels: {', '.join(named[:12])}"
    expected = "the one of this network (channel)"
    return Problem(source, what, expected, code="log-channels", fields=("channel",))


def _mhz(text: str, unit: str) -> float | None:
    """A frequency in a cell, by its own unit, that of the column, or its size. [MHz]"""
    read = _FREQUENCY.fullmatch(text.strip())
    if read is None:
        return None
    value, told = decimal(read[1]), (read[2] or unit).strip().lower()
    scale = {"mhz": 1.0, "khz": 1e-3, "hz": 1e-6}.get(told)
    return value * (scale if scale else 1e-6 if value > 1e6 else 1e-3 if value > 2e4 else 1.0)
