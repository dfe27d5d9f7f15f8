"""Round scales: ticks at 1, 2 or 5 times a power of ten, and kilometres beneath microseconds (the light ruler)."""

import math
from dataclasses import dataclass

from sfn.report.numbers import number
from sfn.units import SPEED_OF_LIGHT_M_PER_US, refractive_index


@dataclass(frozen=True, slots=True)
class Tick:
    """One tick of a scale: its place as a part of the scale's length, and what it says in us and in km."""

    place_ratio: float
    us_text: str
    km_text: str


def round_step(span: float, *, most: int = 8) -> float:
    """The smallest step of 1, 2 or 5 times a power of ten that cuts `span` into at most `most` parts.

    Examples
    --------
    >>> round_step(73.0)
    10.0
    """
    if not span > 0:
        raise ValueError(f"span must be more than 0, got {span!r}")
    power = 10.0 ** math.floor(math.log10(span / most))
    return next(power * factor for factor in (1, 2, 5, 10, 20) if span / (power * factor) <= most + 1e-9)


def ticks(
    low_us: float, high_us: float, *, refractivity_n: float, signed: bool = False, most: int = 8
) -> tuple[Tick, ...]:
    """Ticks of a time scale, each with the distance that light travels in that time.

    Parameters
    ----------
    low_us, high_us : float
        Ends of the scale. [us]
    refractivity_n : float
        Refractivity of the air. [N-units]
    signed : bool
        Write a plus before positive times.
    most : int
        Largest number of steps.
    """
    step = round_step(high_us - low_us, most=most)
    decimals = max(0, -math.floor(math.log10(step)))
    metres = SPEED_OF_LIGHT_M_PER_US / refractive_index(refractivity_n)
    km_decimals = max(0, 1 - math.floor(math.log10(step * metres / 1000)))  # 1.5 km is not 1 km
    made = []
    for i in range(math.ceil(low_us / step - 1e-9), math.floor(high_us / step + 1e-9) + 1):
        at_us = i * step
        made.append(
            Tick(
                (at_us - low_us) / (high_us - low_us),
                number(at_us, decimals, signed=signed),
                number(at_us * metres / 1000, km_decimals, signed=signed),
            )
        )
    return tuple(made)
