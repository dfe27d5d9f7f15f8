"""One transmitter's levels at many places of one line from it: the model walked once along a single radial."""

import numpy as np
from numpy.typing import NDArray

from sfn.field.path import SYMBOL, default_step_m, ground_under, radiated, smooth_surface_m
from sfn.field.transmitter import Plane, Transmitter
from sfn.geodesy.line import direct
from sfn.propagation.free_space import field_strength
from sfn.propagation.link import LEAST_STEPS, NEAR_STEP_M, Link, Losses
from sfn.propagation.near_cover import CLUTTER_DISTANCE_M
from sfn.propagation.sweep import losses_on_radials
from sfn.terrain.ground import Ground, GroundWindow

Floats = NDArray[np.float64]
# The sweep's reach; farther places get no level.
GREATEST_RANGE_M = 1_000_000.0


class LevelsAlong:
    """Median levels of a transmitter along one bearing, as `sfn.field.path.path_levels` has them at each place.

    Parameters
    ----------
    transmitter : Transmitter
    bearing_deg : float
        Of the geodesic, at the site. [degrees]
    length_m : float
        Of the part that is asked about. [m]
    ground : Ground or GroundWindow, optional
        None, or one without terrain: a smooth earth. Read once here, so that thousands of places cost milliseconds.
    rx_height_m : float
        Receiving antenna above ground. [m]
    plane : {'h', 'v'}, optional
        As in `sfn.field.levels.levels_at`.
    """

    def __init__(
        self, transmitter: Transmitter, bearing_deg: float, length_m: float, *, ground: Ground | GroundWindow | None,
        rx_height_m: float, plane: Plane | None,
    ) -> None:  # fmt: skip
        self._site, self._bearing_deg, self._plane = transmitter, bearing_deg, plane
        self._ground = ground or GroundWindow()
        self._smooth = self._ground.terrain is None
        self._surface_m = float(smooth_surface_m(transmitter, np.asarray(np.nan)))
        foot_m = self._surface_m if self._smooth else transmitter.ground_m
        self._link = Link(
            tx_ground_m=foot_m,
            tx_height_m=transmitter.ground_m + transmitter.antenna_m - foot_m,
            rx_height_m=rx_height_m,
            frequency_mhz=transmitter.frequency_mhz,
            polarisation=SYMBOL[transmitter.received_plane(plane)],
            delta_n=transmitter.delta_n,
            surface_refractivity_n0=transmitter.surface_refractivity_n0,
            time_pct=(50.0,),
        )
        self._step_m = default_step_m(self._ground, lat_deg=transmitter.lat_deg)
        self._far = self._laid(min(length_m, GREATEST_RANGE_M), self._step_m)
        self._near = self._laid(LEAST_STEPS * self._step_m, NEAR_STEP_M) if self._step_m > NEAR_STEP_M else self._far

    def __call__(self, ground_m: Floats) -> Floats:
        """Levels at distances [m] from the site. [dB(uV/m)] NaN where the ground is not known, or beyond 1000 km."""
        level = np.full(ground_m.shape, np.nan)
        near = ground_m < LEAST_STEPS * self._step_m
        for chosen, laid, step_m in (
            (near, self._near, min(self._step_m, NEAR_STEP_M)),
            (~near, self._far, self._step_m),
        ):
            if chosen.any():
                level[chosen] = self._levels(ground_m[chosen], laid, step_m)
        return level

    def heights(self, ground_m: Floats) -> Floats:
        """Ground above sea level at distances; the smooth earth's surface without terrain. [m]"""
        return self._under(ground_m)[0]

    def _laid(self, length_m: float, step_m: float) -> tuple[Floats, Floats, NDArray[np.int8]]:
        """Heights, cover and zones of one radial's points, each of shape (1, points)."""
        at_m = step_m * np.arange(int(length_m / step_m) + 2, dtype=np.float64)
        h, cover, zone, _ = self._under(at_m)
        cover[at_m < CLUTTER_DISTANCE_M] = 0.0
        return h[None], cover[None], zone[None]

    def _under(self, at_m: Floats) -> tuple[Floats, Floats, NDArray[np.int8], Floats]:
        """Ground, cover [m], zones under places of the line, and how far before each its cover stands [m]."""
        if self._smooth and self._ground.cover is None and self._ground.zones is None:
            bare = np.zeros(at_m.size)
            return bare + self._surface_m, bare.copy(), bare.astype(np.int8), bare + CLUTTER_DISTANCE_M
        site = self._site
        lat, lon = direct(site.lat_deg, site.lon_deg, azimuth_deg=np.full(at_m.size, self._bearing_deg), ground_m=at_m)
        heights_m, _, cover_m, zone, clear_m = ground_under(self._ground, lat, lon)
        return (np.full(at_m.size, self._surface_m) if self._smooth else heights_m), cover_m, zone, clear_m

    def _levels(self, ground_m: Floats, laid: tuple[Floats, Floats, NDArray[np.int8]], step_m: float) -> Floats:
        """Levels at places of one radial."""
        h, cover, zone = laid
        own_m, own_cover, own_zone, clear_m = self._under(ground_m)
        # A receiver at the site itself is taken a metre away, as a path is.
        at_km = np.where(ground_m <= GREATEST_RANGE_M, np.maximum(ground_m, 1.0) / 1000.0, np.nan)
        covered = bool(cover.any() or own_cover.any())
        zoned = bool(zone.any() or own_zone.any())
        found: Losses = losses_on_radials(
            h, cover_m=cover if covered else None, zone=zone if zoned else None, step_km=step_m / 1000.0,
            lat_deg=self._site.lat_deg, rx_distance_km=at_km, rx_azimuth_deg=np.full(at_km.size, self._bearing_deg),
            rx_ground_m=own_m, rx_zone=own_zone if zoned else None, rx_cover_m=own_cover if covered else None,
            rx_clutter_m=clear_m if covered else 0.0, link=self._link,
        )  # fmt: skip
        erp_dbk, off_db = radiated(
            self._site, self._bearing_deg, elevation_deg=found.tx_elevation_deg, plane=self._plane
        )
        return np.asarray(field_strength(found.loss_db[0], frequency_mhz=self._site.frequency_mhz) + erp_dbk - off_db)
