"""What goes into a sweep and what comes out: terrain, the link's quantities, losses at receivers. Plain data."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.errors import in_range
from sfn.propagation.smooth_earth import Polarisation, check_polarisation, effective_radius

Floats = NDArray[np.float64]
# A path of fewer points than the model asks for would be free space alone: nearer than so many steps the step is this.
LEAST_STEPS, NEAR_STEP_M = 3.5, 30.0
# Gives ground [m], cover [m] and zone index for latitudes and longitudes, arrays of one shape.
Sampler = Callable[[Floats, Floats], tuple[ArrayLike, ArrayLike, ArrayLike]]


class SweepCancelled(Exception):  # noqa: N818 - not an error: somebody asked for it
    """The caller asked to stop; there is no result."""


@dataclass(frozen=True, slots=True)
class LatLonRaster:
    """Values at the nodes of a grid regular in latitude and longitude.

    Parameters
    ----------
    values : ndarray, shape (rows, columns)
        Heights [m] or zone indices (`horizons.ZONES`); NaN where nothing is known.
    lat_deg, lon_deg : float
        Node of row 0 and column 0: the centre of the pixel. [degrees]
    lat_step_deg, lon_step_deg : float
        From row to row (negative when row 0 is the north) and from column to column (positive). [degrees]
    """

    values: NDArray[np.floating | np.integer]
    lat_deg: float
    lon_deg: float
    lat_step_deg: float
    lon_step_deg: float

    def __post_init__(self) -> None:
        if self.values.ndim != 2 or min(self.values.shape) < 2:
            raise ValueError(f"values must have at least 2 rows and 2 columns, got shape {self.values.shape}")
        if self.lat_step_deg == 0.0 or not self.lon_step_deg > 0.0:
            raise ValueError(
                "lat_step_deg must not be 0 and lon_step_deg must be greater than 0 degrees, got "
                f"{self.lat_step_deg!r} and {self.lon_step_deg!r}"
            )


@dataclass(frozen=True, slots=True)
class Terrain:
    """Ground with its optional cover and zones, each on a grid of its own.

    Parameters
    ----------
    ground : LatLonRaster
        Heights above sea level, taken bilinearly. [m]  NaN where not covered.
    cover : LatLonRaster, optional
        Representative height of what stands on the ground, of the nearest node. [m]  Unknown counts as 0.
    zone : LatLonRaster, optional
        Index into `horizons.ZONES`, of the nearest node. Unknown counts as inland.
    clutter : LatLonRaster, optional
        How far before a receiver at the node its cover stands, 1 to 100. [m]  Unknown, or None: 27 m.
    """

    ground: LatLonRaster
    cover: LatLonRaster | None = None
    zone: LatLonRaster | None = None
    clutter: LatLonRaster | None = None


@dataclass(frozen=True, slots=True)
class Link:
    """What P.1812 needs besides terrain and places.

    Parameters
    ----------
    tx_ground_m : float
        Ground height of the site above sea level, -500 to 9000. [m]
    tx_height_m, rx_height_m : float
        Antennas above ground, 1 to 3000. [m]
    frequency_mhz : float
        30 to 6000. [MHz]
    polarisation : {'H', 'V'}
    delta_n, surface_refractivity_n0 : float
        DN [N-units/km] and N0 [N-units] of the network.
    time_pct : tuple of float
        Percentages of time for which the loss is not exceeded, 1 to 50. [%]

    Raises
    ------
    ValueError
        If a quantity is outside its range, with its name.
    """

    tx_ground_m: float
    tx_height_m: float
    rx_height_m: float
    frequency_mhz: float
    polarisation: Polarisation
    delta_n: float = 45.0
    surface_refractivity_n0: float = 325.0
    time_pct: tuple[float, ...] = (50.0, 1.0)

    def __post_init__(self) -> None:
        in_range("tx_ground_m", self.tx_ground_m, least=-500.0, greatest=9000.0, unit="m")
        in_range("tx_height_m", self.tx_height_m, least=1.0, greatest=3000.0, unit="m")
        in_range("rx_height_m", self.rx_height_m, least=1.0, greatest=3000.0, unit="m")
        in_range("frequency_mhz", self.frequency_mhz, least=30.0, greatest=6000.0, unit="MHz")
        check_polarisation(self.polarisation)
        in_range("surface_refractivity_n0", self.surface_refractivity_n0, least=200.0, greatest=500.0, unit="N-units")
        effective_radius(self.delta_n)
        for p in self.time_pct:
            in_range("time_pct", p, least=1.0, greatest=50.0, unit="%")


@dataclass(frozen=True, slots=True)
class Losses:
    """Loss at every receiver. NaN, and False, where the terrain is not covered or out of reach.

    Parameters
    ----------
    loss_db : ndarray, shape (percentages, *receivers)
        Basic transmission loss not exceeded, at the median of places. [dB]
    distance_km, azimuth_deg : ndarray, shape of the receivers
        From the site. [km], [degrees from true north]
    ground_m : ndarray
        Ground height that was used at the receiver. [m]
    line_of_sight : ndarray of bool
        Whether the bare terrain leaves receiver and site in sight of each other.
    tx_elevation_deg : ndarray
        Elevation at the transmitter of the ray, or of the horizon where there is no line of sight. [degrees]
    """

    loss_db: Floats
    distance_km: Floats
    azimuth_deg: Floats
    ground_m: Floats
    line_of_sight: NDArray[np.bool_]
    tx_elevation_deg: Floats
