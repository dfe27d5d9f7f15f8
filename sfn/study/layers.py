"""The layers that maps have: their names for people, units, and who is counted as a layer of its own."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.reception.classes import is_served
from sfn.report.colours import Scale
from sfn.systems.of_network import service_of

Singles = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Offered:
    """A layer that maps have: its name for people, the unit of its values, what it is about, what has no colour."""

    label: str
    unit: str
    about: str
    clear: str


RECEPTION, SIGNALS, PEOPLE = "Reception", "Signals", "People"


NOTHING = "no signal is known in this model"
WEAK = "the strongest is below the minimum field"
LAYERS = {
    "quality_class": Offered("Reception", "class", RECEPTION, NOTHING),
    "quality_margin_db": Offered("Margin over adequate service", "dB", RECEPTION, NOTHING),
    "coverage_probability": Offered(
        "Share of places around that are served, levels drawn", "share of places", RECEPTION, NOTHING
    ),
    "limiting_site": Offered(
        "Signal that limits", "site", RECEPTION, "no signal that counts limits, or another station disturbs"
    ),
    "lost_to_self": Offered(
        "Lost to self-interference", "1 where the strongest alone would serve", RECEPTION, "not lost to our own sites"
    ),
    "strongest_site": Offered("Strongest site", "site", SIGNALS, WEAK),
    "level_dbuvm": Offered("Level of the strongest", "dBuV/m", SIGNALS, NOTHING),
    "level_difference_db": Offered(
        "Level difference, second strongest minus strongest", "dB", SIGNALS, f"{WEAK}, or alone"
    ),
    "delay_difference_us": Offered(
        "Delay difference, second strongest minus strongest", "us", SIGNALS, f"{WEAK}, or no second signal counts"
    ),
    "delay_spread_us": Offered(
        "Delay spread of all significant signals", "us", SIGNALS, f"{WEAK}, or no second signal counts"
    ),
    "people_counted": Offered("People who are counted", "people", PEOPLE, "nobody is counted here"),
    "people_without": Offered(
        "People without adequate service", "people", PEOPLE, "nobody is counted here, or all are served"
    ),
}


def offered(network: Network) -> dict[str, Offered]:
    """The layers of a network's map: the share of places served belongs to OFDM, people to who names some.

    Raises
    ------
    PlanError
        If the service is not known.
    """
    ofdm = service_of(network).kind == "ofdm"
    left_out = set() if ofdm else {"coverage_probability"}
    left_out |= set() if network.listeners is not None else {"people_counted", "people_without"}
    return {name: layer for name, layer in LAYERS.items() if name not in left_out}


def people_layers(
    people: NDArray[np.float64] | None, quality_class: Singles
) -> dict[str, tuple[Singles | None, Scale]]:
    """Who is counted in each pixel, and who of them lacks adequate service, each with its scale; None: not known.

    Parameters
    ----------
    people : ndarray, shape (M,), or None
        As figures count them.
    quality_class : ndarray, shape (M,)
        Place in `sfn.reception.classes.CLASSES`, NaN where nothing is known.
    """
    if people is None:
        nobody = Scale("amount", 0, 1, "people")
        return {"people_counted": (None, nobody), "people_without": (None, nobody)}
    counted = np.where(people > 0.0, people, np.nan).astype(np.float32)
    without = np.where(is_served(quality_class), np.nan, counted).astype(np.float32)
    some = people[people > 0.0]
    # Towns are many times as dense as the country: the scale ends where one pixel in fifty lies above.
    scale = Scale("amount", 0, _round_up(float(np.quantile(some, 0.98)) if some.size else 1.0), "people a pixel")
    return {"people_counted": (counted, scale), "people_without": (without, scale)}


def _round_up(value: float) -> float:
    """The next of 1, 2, 5 times a power of ten."""
    power = 10.0 ** np.floor(np.log10(max(value, 1e-3)))
    return float(next(n * power for n in (1.0, 2.0, 5.0, 10.0) if n * power >= value * (1.0 - 1e-9)))
