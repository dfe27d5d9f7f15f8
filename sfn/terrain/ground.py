"""All that lies under a network: terrain, what covers it, and zones, from the sources its document names."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.terrain.cover import ZONE_VALUES, class_distances, class_heights, cover_heights, zone_grid
from sfn.terrain.dem import MOST_SAMPLES, Terrain, heights, terrain_from_folder, window
from sfn.terrain.digest import combined_digest
from sfn.terrain.fits import not_cover, same_as_terrain
from sfn.terrain.heights import HeightGrid, coarser_n, sample_nearest
from sfn.terrain.memory import Memory
from sfn.terrain.ridge import ridge

# A void is small when no place of it lies farther than this from its rim.
DEEPEST_VOID_M = 500.0
# In steps: round-off of a degree over its step.
ON_A_SAMPLE = 1e-7
# Samples a side of the blocks in which voids are looked for.
FILLED_SAMPLES = 1024
# A UTM raster of 30 m of ridge country, beside its own samples: read twice as fine as it is, and just so.
REFINED_M, UNREFINED_M = 0.01, 0.3
# Cover and zones beside the terrain: 256 MB of float32 each.
MOST_COVER_SAMPLES = 64_000_000


@dataclass(frozen=True, slots=True)
class Ground:
    """Sources of heights, cover and zones; None where the document names none. Plain data that pickles.

    Parameters
    ----------
    terrain : Terrain or None
        None: the earth counts as smooth.
    cover : Terrain or None
        Heights above ground, or classes when `cover_classes` is given. None: bare ground.
    cover_classes : tuple of (class, height in m), or None
    zones : Terrain or None
        Classes for `zone_classes`. None: all is inland.
    zone_classes : tuple of (class, zone)
    clutter : tuple of (class, distance in m)
        How far before a receiver the cover of its class stands, where that is not the usual 27 m.
    surface : bool
        The terrain's heights are those of treetops and roofs: the cover is taken off them.
    """

    terrain: Terrain | None = None
    cover: Terrain | None = None
    cover_classes: tuple[tuple[int, float], ...] | None = None
    zones: Terrain | None = None
    zone_classes: tuple[tuple[int, str], ...] = ()
    clutter: tuple[tuple[int, float], ...] = ()
    surface: bool = False

    @property
    def digest(self) -> str:
        """Changes whenever a height, a cover height or a zone may have changed."""
        parts = (self.terrain, self.cover, self.zones)
        return combined_digest(
            *(part.digest if part else "none" for part in parts), repr(self.cover_classes), repr(self.zone_classes),
            repr(self.clutter), repr(self.surface),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class GroundWindow:
    """Ground round a site as arrays, for models to walk over; None where nothing is named.

    Parameters
    ----------
    terrain : HeightGrid or None
        Ground above sea level, NaN where not known. [m]
    cover : HeightGrid or None
        Cover above ground, NaN where not known. [m]
    zones : HeightGrid or None
        0 inland, 1 coast, 2 sea, NaN where not known.
    clutter : HeightGrid or None
        How far before a receiver its cover stands, NaN where that is the usual 27 m. [m]
    filled : ndarray of bool or None
        Where `terrain` had a small void that was filled from its rim, shape of its heights. None: nowhere.
    """

    terrain: HeightGrid | None = None
    cover: HeightGrid | None = None
    zones: HeightGrid | None = None
    filled: NDArray[np.bool_] | None = None
    clutter: HeightGrid | None = None

    @property
    def averaged(self) -> tuple[int, int, int]:
        """Samples along a side of each height, and of each cover height or zone: 1 where they are as in the files.

        The third: how many times as fine the lattice of heights would be over a smaller area.
        """
        found, heights = self.averaged_n, self.terrain
        unrefined = 1 if heights is None else heights.finest_n // heights.finer_n
        return found.get("terrain", 1), max(found.get("cover", 1), found.get("zones", 1)), unrefined

    @property
    def averaged_n(self) -> dict[str, int]:
        """What was made coarser (``terrain``, ``cover``, ``zones``), and how many samples stand along a side of one."""
        grids = {"terrain": self.terrain, "cover": self.cover, "zones": self.zones}
        return {name: grid.averaged_n for name, grid in grids.items() if grid is not None and grid.averaged_n > 1}

    def filled_at(self, lat_deg: NDArray[np.float64], lon_deg: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether heights at places are drawn from samples that were void in the files."""
        out = np.zeros(lat_deg.shape, dtype=np.bool_)
        if self.terrain is None or self.filled is None:
            return out
        row, column = self.terrain.rows(lat_deg), self.terrain.columns(lon_deg)
        # A place on a sample, but for round-off, is drawn from it alone.
        sides = [(np.floor(at + ON_A_SAMPLE), np.ceil(at - ON_A_SAMPLE)) for at in (row, column)]
        for i in sides[0]:
            for j in sides[1]:
                known = (i > -1) & (i < self.filled.shape[0]) & (j > -1) & (j < self.filled.shape[1])
                out[known] |= self.filled[i[known].astype(np.int64), j[known].astype(np.int64)]
        return out


def window_averaged(
    ground: Ground, bounds_deg: tuple[float, float, float, float], *, most_samples: int = MOST_SAMPLES
) -> tuple[int, int, int]:
    """`GroundWindow.averaged` of what `ground_window` would give of south, west, north and east, without reading it."""
    beside = [
        coarser_n(source.lattice[:2], bounds_deg, most_samples=min(most_samples, MOST_COVER_SAMPLES))
        for source in (ground.cover, ground.zones)
        if source is not None
    ]
    terrain_n = unrefined_n = 1
    if ground.terrain is not None:
        terrain_n = coarser_n(ground.terrain.lattice[:2], bounds_deg, most_samples=most_samples)
        finest_n = ground.terrain.finer_n
        if coarser_n(ground.terrain.lattice_of(finest_n)[:2], bounds_deg, most_samples=most_samples) > 1:
            unrefined_n = finest_n
    return terrain_n, max(beside, default=1), unrefined_n


def averaged_says(terrain_n: int, cover_n: int, unrefined_n: int = 1) -> str:
    """What must be said where heights, or cover and zones, were made coarser; empty where nothing was.

    Parameters
    ----------
    terrain_n, cover_n : int
        Samples along each side of one that was used.
    unrefined_n : int
        How many times as fine heights of terrain in a projected system would be read over a smaller area.
    """
    parts = []
    if terrain_n > 1:
        parts.append(
            f"The area is too large to hold its terrain as it is: every height is the mean of {terrain_n} x {terrain_n}"
            " samples. Ridges count too low, and levels behind them several dB too high; a smaller area has them whole."
        )
    elif unrefined_n > 1:
        parts.append(
            f"The area is too large to read its projected terrain {unrefined_n} times as fine as the file, as over a"
            f" smaller one: heights are {UNREFINED_M:g} m rms off the file's own in ridge country, not {REFINED_M:g} m."
        )
    if cover_n > 1:
        parts.append(f"Of ground cover and zones every {cover_n}th sample each way was taken.")
    return " ".join(parts)


def averaged_parts(terrain_n: int, cover_n: int, unrefined_n: int = 1) -> dict[str, str]:
    """The pieces of `averaged_says`, for whoever says it in another language: first which of its sentences it has."""
    if terrain_n > 1:
        which = "means_and_cover" if cover_n > 1 else "means"
    elif unrefined_n > 1:
        which = "unrefined_and_cover" if cover_n > 1 else "unrefined"
    else:
        which = "cover_alone"
    return {
        which: "yes", "terrain_n": f"{terrain_n}", "cover_n": f"{cover_n}", "unrefined_n": f"{unrefined_n}",
        "unrefined_said": f"{UNREFINED_M:g} m", "refined_said": f"{REFINED_M:g} m",
    }  # fmt: skip


def coarsest(one: tuple[int, int, int], other: tuple[int, int, int]) -> tuple[int, int, int]:
    """What must be said of two grounds together (`GroundWindow.averaged`)."""
    return max(one[0], other[0]), max(one[1], other[1]), max(one[2], other[2])


def open_ground(network: Network, *, folder: Path, anywhere: bool = False, memory: Memory | None = None) -> Ground:
    """The ground that a document names.

    Parameters
    ----------
    network : Network
    folder : Path
        Folder that the document's folder names are looked up in.
    anywhere : bool
        Whether they may also lead out of it. False for documents that come from strangers.
    memory : Memory, optional
        What is remembered of files of earlier calls.

    Raises
    ------
    PlanError
        If a folder is not there, leads out of `folder`, or holds a file that cannot be used.
    """
    terrain = cover = zones = None
    if network.terrain is not None:
        if network.terrain.folder is None:
            terrain = ridge()
        else:
            terrain = terrain_from_folder(_inside(folder, network.terrain.folder, "terrain", anywhere), memory=memory)
    if network.cover is not None:
        place = _inside(folder, network.cover.folder, "cover", anywhere)
        cover = terrain_from_folder(place, memory=memory, blended=False)
        if found := not_cover(cover, classes=network.cover.classes is not None):
            raise PlanError(found)
        if terrain is not None and terrain.digest == cover.digest:
            raise PlanError([same_as_terrain(network.cover.folder)])
    if network.zones is not None:
        place = _inside(folder, network.zones.folder, "zones", anywhere)
        zones = terrain_from_folder(place, memory=memory, blended=False)
    heights = network.cover.classes if network.cover else None
    return Ground(
        terrain=terrain,
        cover=cover,
        cover_classes=None if heights is None else tuple((c.number, c.height_m) for c in heights),
        zones=zones,
        zone_classes=tuple((c.number, c.zone) for c in network.zones.classes) if network.zones else (),
        clutter=tuple((c.number, c.distance_m) for c in heights or () if c.distance_m is not None),
        surface=network.terrain is not None and bool(network.terrain.heights_of or (terrain and terrain.surface)),
    )


def ground_window(
    ground: Ground,
    *,
    south_deg: float,
    west_deg: float,
    north_deg: float,
    east_deg: float,
    most_samples: int = MOST_SAMPLES,
    look: Callable[[], None] | None = None,
) -> GroundWindow:
    """The ground inside a rectangle as arrays; arguments as `sfn.terrain.dem.window`.

    A void where a zone raster says sea is sea level. A small void inside the terrain (no place of it farther than
    500 m from its rim) is filled from its rim, and said in `filled`: what crosses it is answered, and marked. From a
    terrain of treetops and roofs what covers the ground is taken off: P.1812 adds it to the ground under every path.

    Raises
    ------
    PlanError
        If a class occurs that its table does not name.
    """

    def grid(source: Terrain | None, most_samples: int) -> HeightGrid | None:
        """One source inside the rectangle."""
        if source is None:
            return None
        return window(
            source, south_deg=south_deg, west_deg=west_deg, north_deg=north_deg, east_deg=east_deg,
            most_samples=most_samples, look=look,
        )  # fmt: skip

    beside = min(most_samples, MOST_COVER_SAMPLES)
    cover, zones, clutter = grid(ground.cover, beside), grid(ground.zones, beside), None
    if cover is not None:
        classes = ground.cover_classes
        if ground.clutter:
            clutter = class_distances(cover, distance_m=dict(ground.clutter))
        cover = cover_heights(cover) if classes is None else class_heights(cover, height_m=dict(classes))
    if zones is not None:
        zones = zone_grid(zones, zone=dict(ground.zone_classes))
    terrain = grid(ground.terrain, most_samples)
    filled = None
    if terrain is not None:
        filled = _without_voids(terrain, zones)
    if terrain is not None and cover is not None and ground.surface:
        _take_off(terrain, cover)
    return GroundWindow(terrain, cover, zones, filled, clutter)


def _take_off(terrain: HeightGrid, cover: HeightGrid) -> None:
    """Take what covers the ground off heights of treetops and roofs, in place, some rows at a time."""
    rows, columns = terrain.height_m.shape
    lon = terrain.west_deg + terrain.step_lon_deg * np.arange(columns)[None, :]
    for first in range(0, rows, FILLED_SAMPLES):
        part = slice(first, min(first + FILLED_SAMPLES, rows))
        lat = terrain.north_deg - terrain.step_lat_deg * np.arange(part.start, part.stop)[:, None]
        terrain.height_m[part] -= np.nan_to_num(sample_nearest(cover, lat, lon), nan=0.0).astype(np.float32)


def _without_voids(terrain: HeightGrid, zones: HeightGrid | None) -> NDArray[np.bool_] | None:
    """Lay sea at sea level and fill small voids from their rim, in place; where those were, None for nowhere."""
    height_m = terrain.height_m  # the window's own: nobody else holds it
    rows, columns = height_m.shape
    step_m = terrain.step_m(terrain.north_deg - terrain.step_lat_deg * rows / 2) / terrain.finer_n
    if zones is not None:
        lon = terrain.west_deg + terrain.step_lon_deg * np.arange(columns)
        for first in range(0, rows, FILLED_SAMPLES):
            part = height_m[first : first + FILLED_SAMPLES]
            row, column = np.nonzero(np.isnan(part))
            if row.size:
                lat = terrain.north_deg - terrain.step_lat_deg * (first + row)
                sea = sample_nearest(zones, lat, lon[column]) == ZONE_VALUES["sea"]
                part[row[sea], column[sea]] = 0.0
    return _filled(height_m, step_m)


def _filled(height_m: NDArray[np.float32], step_m: float) -> NDArray[np.bool_] | None:
    """Fill narrow voids from their rim, in place; where they were. Block by block, each with its surroundings.

    Whether a sample is filled hangs on what lies within 1.3 km of it alone, never on how large the window is: a long
    path, read in pieces, and the map over the whole network see the same ground.
    """
    filled: NDArray[np.bool_] | None = None
    deepest = DEEPEST_VOID_M / step_m
    margin = int(np.ceil(2.5 * deepest)) + 3
    rows, columns = height_m.shape
    for row in range(0, rows, FILLED_SAMPLES):
        for column in range(0, columns, FILLED_SAMPLES):
            inner = slice(row, min(row + FILLED_SAMPLES, rows)), slice(column, min(column + FILLED_SAMPLES, columns))
            if not np.isnan(height_m[inner]).any():
                continue
            around = tuple(
                slice(max(part.start - margin, 0), min(part.stop + margin, size))
                for part, size in zip(inner, height_m.shape, strict=True)
            )
            # Heights that were filled a block ago are void here still: what counts is what the files have.
            void = np.isnan(height_m[around])
            if filled is not None:
                void |= filled[around]
            if void.all():
                continue
            own = np.zeros_like(void)
            cut = tuple(slice(i.start - a.start, i.stop - a.start) for i, a in zip(inner, around, strict=True))
            own[cut] = _narrow(void, deepest)[cut]
            if own.any():
                if filled is None:
                    filled = np.zeros(height_m.shape, dtype=np.bool_)
                filled[around] |= own
                height_m[around][own] = _from_rim(height_m[around], void, margin)[own]
    return filled


def _narrow(void: NDArray[np.bool_], deepest: float) -> NDArray[np.bool_]:
    """Voids that hold no place farther than `deepest` samples from known ground, nor lie beside such a one."""
    from scipy.ndimage import distance_transform_edt

    reach = int(np.ceil(deepest)) + 1
    # What lies beyond the window may go on being void.
    deep = distance_transform_edt(np.pad(void, reach, constant_values=True)) > deepest
    if not deep.any():
        return void
    # A wide void's corners lie sqrt(2) times as far from its middle as its sides.
    wide = distance_transform_edt(~deep) <= 1.42 * deepest + 1.0
    return np.asarray(void & ~wide[reach:-reach, reach:-reach])


def _from_rim(height_m: NDArray[np.float32], void: NDArray[np.bool_], reach: int) -> NDArray[np.float32]:
    """Heights with voids interpolated from within `reach` samples."""
    from rasterio.fill import fillnodata

    known = np.where(void, 0.0, height_m).astype(np.float32)
    return np.asarray(fillnodata(known, mask=~void, max_search_distance=reach))


def _inside(folder: Path, name: str, key: str, anywhere: bool) -> Path:
    """The named folder, refused when it leads out of where it may be."""
    place = (folder / name).resolve()
    if not anywhere and not place.is_relative_to(folder.resolve()):
        raise PlanError(
            [
                Problem(
                    f"{key}.folder",
                    f"{name} lies outside the terrain folder",
                    "the name of a folder in it",
                    code="outside-terrain-folder",
                )
            ]
        )
    return place


def ground_at(ground: Ground, lat_deg: float, lon_deg: float) -> float | None:
    """Ground above sea level, to a tenth of a metre; None where the terrain has none. [m]"""
    if ground.terrain is None:
        return None
    found = float(heights(ground.terrain, [lat_deg], [lon_deg])[0])
    return None if np.isnan(found) else round(found, 1)
