"""Classes of oscillators with typical values, meant to be replaced by those of a data sheet."""

import tomllib
from dataclasses import dataclass
from importlib.resources import files

from sfn.clock.holdover import Clock

NOTE = "typical, verify on your data sheet"


@dataclass(frozen=True, slots=True)
class Oscillator:
    """One class: each figure at the good and at the poor end of what is sold under that name."""

    id: str
    name: str
    frequency_offset_good_ratio: float
    frequency_offset_poor_ratio: float
    ageing_good_per_day: float
    ageing_poor_per_day: float
    temperature_good_per_degc: float
    temperature_poor_per_degc: float

    def clock(self, *, poor: bool = True, step_degc: float = 0.0, swing_degc: float = 0.0) -> Clock:
        """A clock of this class, by default from the poor end, its signs all one way."""
        return Clock(
            0.0,
            self.frequency_offset_poor_ratio if poor else self.frequency_offset_good_ratio,
            self.ageing_poor_per_day if poor else self.ageing_good_per_day,
            self.temperature_poor_per_degc if poor else self.temperature_good_per_degc,
            step_degc,
            swing_degc,
        )


def oscillators() -> dict[str, Oscillator]:
    """The classes by id, from the least to the most stable."""
    table = tomllib.loads(files("sfn.clock").joinpath("oscillators.toml").read_text(encoding="utf-8"))
    found = {}
    for row in table["class"]:
        offset, ageing, effect = row["frequency_offset"], row["ageing_per_day"], row["temperature_effect"]
        span = row["temperature_range_degc"]
        found[row["id"]] = Oscillator(
            row["id"], row["name"], offset["good"], offset["poor"], ageing["good"], ageing["poor"],
            effect["good"] / span, effect["poor"] / span,
        )  # fmt: skip
    return found


def oscillator(name: str) -> Oscillator:
    """A class by its id.

    Raises
    ------
    ValueError
        If there is none of that id; the text lists those there are.
    """
    known = oscillators()
    if name not in known:
        raise ValueError(f"oscillator must be one of {', '.join(known)}, got {name!r}")
    return known[name]
