"""Made-up networks whose sites may radiate otherwise, for the search over levers and offsets, and its benchmark."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.reception.quality import yardstick
from sfn.solve.options import Choice, Options
from sfn.solve.scene import Scene
from tests.sfn.networks import example
from tests.sfn.solve.problems import FREQUENCIES, US_PER_KM

POWERS_DB = (0.0, -6.0, -3.0, 3.0)
AZIMUTHS_DEG = (0.0, 60.0, 120.0, 180.0, 240.0, 300.0)
VISIT, RIGGING, LICENCE = 1.0, 4.0, 2.0


def scene(
    rng: np.random.Generator, *, sites: int, points: int, side_km: float = 60.0, service: str = "fm-stereo"
) -> tuple[Scene, NDArray[Any]]:
    """Random sites and weighted points in a square, and the bearing of each point from each site. [degrees]

    Each site's antenna takes off ``12 * ((off + 180) mod 360 - 180)^2 / 65^2`` dB, at most 20, away from where it
    points: north as planned (the parabola usual in planning of sectors, e.g. 3GPP TR 36.942 table 4.2, from memory).
    """
    sites_km, points_km = rng.uniform(0, side_km, (sites, 2)), rng.uniform(0, side_km, (points, 2))
    apart = points_km[None, :, :] - sites_km[:, None, :]
    ground_km = np.linalg.norm(apart, axis=2)
    bearing = np.degrees(np.arctan2(apart[..., 0], apart[..., 1])) % 360.0
    level = 135.0 - 50.0 * np.log10(np.maximum(ground_km, 0.5)) + rng.normal(0, 6, (sites, points))
    level = (level - taken_off(bearing, 0.0)).astype(np.float32)

    def change_db(i: int, choice: Choice, places: NDArray[np.intp]) -> NDArray[np.float32]:
        power, aim = choice
        towards = taken_off(bearing[i, places], 0.0) - taken_off(bearing[i, places], AZIMUTHS_DEG[aim])
        return np.asarray(POWERS_DB[power] + towards, dtype=np.float32)

    frequency = FREQUENCIES[service]
    made = Scene(
        tuple(f"s{i}" for i in range(sites)), "people", level, (level + 1.0).astype(np.float32),
        ground_km * US_PER_KM, np.floor(rng.lognormal(3.0, 1.5, points)) + 1.0, np.arange(points),
        yardstick(example(lambda tree: tree.update(service=service, frequency_mhz=frequency))), frequency, change_db,
    )  # fmt: skip
    return made, bearing


def taken_off(bearing_deg: NDArray[Any], azimuth_deg: float) -> NDArray[Any]:
    """Attenuation of the made-up antenna towards a bearing. [dB]"""
    off = (bearing_deg - azimuth_deg + 180.0) % 360.0 - 180.0
    return np.asarray(np.minimum(12.0 * (off / 65.0) ** 2, 20.0))


def paid(i: int, choice: Choice, moved: bool) -> float:
    """A visit for power or delay, a rigging day for another direction, which is a visit too, a licence for either."""
    power, aim = choice
    visit = RIGGING if aim else VISIT if power or moved else 0.0
    return visit + (LICENCE if power or aim else 0.0)


def options(sites: int, *, powers: int = 4, aims: int = 6) -> Options:
    """Some powers and some directions at every site."""
    return Options((("power", "azimuth"),) * sites, ((powers, aims),) * sites, lambda _i, _c: True, paid)
