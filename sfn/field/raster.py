"""What a transmitter lays over a grid: plain data in, plain arrays out.

`level_raster` knows no executor, no cache and no network document: it runs in a thread, in another process, or
on another machine. `sfn.field.rasters` runs it for many sites.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.field.around import ground_around
from sfn.field.losses import Progress, losses
from sfn.field.path import LEAST_STEP_M, radiated
from sfn.field.transmitter import Plane, Transmitter
from sfn.geodesy.grid import Grid
from sfn.propagation.free_space import field_strength
from sfn.propagation.share import Share
from sfn.terrain.ground import Ground, GroundWindow

Singles = NDArray[np.float32]
Flags = NDArray[np.bool_]
# However coarse the pixels, radials are laid as for pixels of this size: a pixel's level is that of its centre, and
# steep ground changes within a hundred metres. Finer pixels get finer radials, and so does finer terrain: at the edge a
# quarter of this lies between two radials, no more than half the spacing of the terrain or of the profiles.
RADIAL_PIXEL_M = 90.0
SPACINGS_A_PIXEL = 2.0
# What a raster says of itself beside its arrays.
WORDS = ("smooth", "averaged_n", "cover_averaged_n", "unrefined_n")


@dataclass(frozen=True, slots=True)
class LevelRaster:
    """One transmitter's field strength over a grid; all arrays of shape (rows, columns), row 0 in the north.

    Parameters
    ----------
    level_dbuvm : ndarray of float32
        Median over time and places. [dB(uV/m)] NaN where there is no answer.
    level_1pct_dbuvm : ndarray of float32
        Exceeded for 1 % of time, median over places: for interference. [dB(uV/m)]
    ground_distance_m : ndarray of float32
        Geodesic from the site. [m]
    rx_ground_m : ndarray of float32
        Ground at the pixel above sea level. [m] NaN where not covered.
    tx_elevation_deg : ndarray of float32
        Elevation at which the ray leaves, towards the pixel or the horizon that hides it: what else the antenna turns
        on, so that another can be tried without walking the ground again (`sfn.field.gain`). [degrees]
    line_of_sight : ndarray of bool
        Whether the antennas see each other over the bare ground.
    covered : ndarray of bool
        False where the ground is not known at the pixel or somewhere on the way: no level, or, over a small void
        that was filled from its rim, a level to be marked.
    smooth : bool
        True when no terrain was used: the earth counted as smooth.
    averaged_n : int
        Samples of the terrain along each side of a mean, where it was too large to be held as it is; 1: as it is.
    cover_averaged_n : int
        The same of ground cover and zones, of which the middle sample is taken.
    unrefined_n : int
        How many times as fine projected terrain would be read over a smaller area; 1: it is.
    """

    level_dbuvm: Singles
    level_1pct_dbuvm: Singles
    ground_distance_m: Singles
    rx_ground_m: Singles
    tx_elevation_deg: Singles
    line_of_sight: Flags
    covered: Flags
    smooth: bool
    averaged_n: int = 1
    cover_averaged_n: int = 1
    unrefined_n: int = 1

    @property
    def averaged(self) -> tuple[int, int, int]:
        """As in `sfn.terrain.ground.GroundWindow.averaged`."""
        return self.averaged_n, self.cover_averaged_n, self.unrefined_n

    def arrays(self) -> dict[str, NDArray[np.generic]]:
        """The arrays by their names."""
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name not in WORDS}

    def of_arrays(self, arrays: Mapping[str, Any]) -> "LevelRaster":
        """The same with other arrays under their names."""
        return replace(self, **arrays)


def level_raster(
    transmitter: Transmitter,
    grid: Grid,
    *,
    ground: Ground | GroundWindow | None,
    rx_height_m: float,
    receiver_polarisation: Plane | None = None,
    step_m: float | None = None,
    share: Share | None = None,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> LevelRaster:
    """Field strength of one transmitter at the centres of all pixels of a grid, by P.1812.

    Parameters
    ----------
    transmitter : Transmitter
    grid : Grid
    ground : Ground, GroundWindow or None
        Where the ground comes from; or the ground itself, holding the site, the grid and what lies between. None:
        a smooth earth.
    rx_height_m : float
        Receiving antenna above ground, 1 to 3000. [m]
    receiver_polarisation : {'h', 'v'}, optional
        As in `sfn.field.levels.levels_at`.
    step_m : float, optional
        Step of the profiles. [m] None: half a step of the terrain, 100 m over a smooth earth.
    share : Share, optional
        Only this part of the pixels, in arrays of one axis, in the order of `share.own`. Never over a smooth earth.
    progress : callable(done, total), optional
        Called now and then with numbers of pixels. What it raises ends the computation.
    cancelled : callable() -> bool, optional
        Asked now and then.

    Returns
    -------
    LevelRaster

    Raises
    ------
    ValueError
        If a quantity is outside the model's range, by name.
    PlanError
        If a ground cover or zone class occurs that its table does not name.
    sfn.propagation.link.SweepCancelled
        If `cancelled` said so.
    """
    window = ground_around(ground, transmitter, bounds_deg=grid.bounds_deg)
    lat, lon = grid.points_deg
    spacing_m = RADIAL_PIXEL_M
    if window.terrain is not None:
        spacing_m = max(window.terrain.step_m(transmitter.lat_deg), LEAST_STEP_M)
    found, covered = losses(
        transmitter, lat, lon, ground=window, rx_height_m=rx_height_m, rx_ground_m=None,
        receiver_polarisation=receiver_polarisation, step_m=step_m,
        pixel_m=min(grid.pixel_m, RADIAL_PIXEL_M, SPACINGS_A_PIXEL * spacing_m),
        share=share, progress=progress, cancelled=cancelled,
    )  # fmt: skip
    field = field_strength(found.loss_db, frequency_mhz=transmitter.frequency_mhz)
    if transmitter.pattern is None:
        field += transmitter.erp_dbk(receiver_polarisation)
    else:
        erp_dbk, off_db = radiated(
            transmitter, found.azimuth_deg, elevation_deg=found.tx_elevation_deg, plane=receiver_polarisation
        )
        field += erp_dbk - off_db
    field[~np.isfinite(field)] = np.nan
    return LevelRaster(
        level_dbuvm=field[0].astype(np.float32),
        level_1pct_dbuvm=field[1].astype(np.float32),
        ground_distance_m=(found.distance_km * 1000.0).astype(np.float32),
        rx_ground_m=found.ground_m.astype(np.float32),
        tx_elevation_deg=found.tx_elevation_deg.astype(np.float32),
        line_of_sight=found.line_of_sight,
        covered=covered,
        smooth=window.terrain is None,
        averaged_n=window.averaged[0],
        cover_averaged_n=window.averaged[1],
        unrefined_n=window.averaged[2],
    )


@dataclass(frozen=True, slots=True)
class RasterPart:
    """Some pixels of a raster.

    Parameters
    ----------
    at : ndarray of uint32, shape (M,)
        Which pixels, row by row.
    raster : LevelRaster
        Theirs: arrays of shape (M,).
    """

    at: NDArray[np.uint32]
    raster: LevelRaster


def part_of(raster: LevelRaster, share: Share) -> RasterPart:
    """A raster that was computed for a share, with which pixels it has."""
    return RasterPart(np.flatnonzero(share.own).astype(np.uint32), raster)


def joined(parts: Sequence[RasterPart], grid: Grid) -> LevelRaster:
    """The raster that its parts make.

    Raises
    ------
    ValueError
        If a pixel is in none of them or in two, or they are of different grounds.
    """
    seen = np.zeros(grid.pixels_n, dtype=np.uint8)
    for part in parts:
        seen[part.at] += 1
    if not (seen == 1).all() or sum(part.at.size for part in parts) != grid.pixels_n:
        raise ValueError("parts of a raster must have each of its pixels once")
    if len({(part.raster.smooth, part.raster.averaged) for part in parts}) != 1:
        raise ValueError("parts of a raster must be of one ground")
    whole = {name: np.empty(grid.pixels_n, dtype=one.dtype) for name, one in parts[0].raster.arrays().items()}
    for part in parts:
        for name, one in part.raster.arrays().items():
            whole[name][part.at] = one
    return parts[0].raster.of_arrays({name: one.reshape(grid.shape) for name, one in whole.items()})
