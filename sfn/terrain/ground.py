"""All that lies under a network: terrain, what covers it, and zones, from the sources its document names."""

from dataclasses import dataclass
from pathlib import Path

from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.terrain.cover import class_heights, cover_heights, zone_grid
from sfn.terrain.dem import MOST_SAMPLES, Terrain, terrain_from_folder, window
from sfn.terrain.digest import Known, combined_digest
from sfn.terrain.heights import HeightGrid
from sfn.terrain.ridge import ridge


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
    """

    terrain: Terrain | None = None
    cover: Terrain | None = None
    cover_classes: tuple[tuple[int, float], ...] | None = None
    zones: Terrain | None = None
    zone_classes: tuple[tuple[int, str], ...] = ()

    @property
    def digest(self) -> str:
        """Changes whenever a height, a cover height or a zone may have changed."""
        parts = (self.terrain, self.cover, self.zones)
        return combined_digest(
            *(part.digest if part else "none" for part in parts), repr(self.cover_classes), repr(self.zone_classes)
        )


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
    """

    terrain: HeightGrid | None = None
    cover: HeightGrid | None = None
    zones: HeightGrid | None = None


def open_ground(network: Network, *, folder: Path, anywhere: bool = False, known: Known | None = None) -> Ground:
    """The ground that a document names.

    Parameters
    ----------
    network : Network
    folder : Path
        Folder that the document's folder names are looked up in.
    anywhere : bool
        Whether they may also lead out of it. False for documents that come from strangers.
    known : mutable mapping, optional
        Digests of earlier calls, see `sfn.terrain.digest.file_digest`.

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
            terrain = terrain_from_folder(_inside(folder, network.terrain.folder, "terrain", anywhere), known=known)
    if network.cover is not None:
        place = _inside(folder, network.cover.folder, "cover", anywhere)
        cover = terrain_from_folder(place, known=known, blended=False)
    if network.zones is not None:
        place = _inside(folder, network.zones.folder, "zones", anywhere)
        zones = terrain_from_folder(place, known=known, blended=False)
    heights = network.cover.classes if network.cover else None
    return Ground(
        terrain=terrain,
        cover=cover,
        cover_classes=None if heights is None else tuple((c.number, c.height_m) for c in heights),
        zones=zones,
        zone_classes=tuple((c.number, c.zone) for c in network.zones.classes) if network.zones else (),
    )


def ground_window(
    ground: Ground,
    *,
    south_deg: float,
    west_deg: float,
    north_deg: float,
    east_deg: float,
    most_samples: int = MOST_SAMPLES,
) -> GroundWindow:
    """The ground inside a rectangle as arrays; arguments as `sfn.terrain.dem.window`.

    Raises
    ------
    PlanError
        If a class occurs that its table does not name.
    """

    def grid(source: Terrain | None) -> HeightGrid | None:
        """One source inside the rectangle."""
        if source is None:
            return None
        return window(
            source, south_deg=south_deg, west_deg=west_deg, north_deg=north_deg, east_deg=east_deg,
            most_samples=most_samples,
        )  # fmt: skip

    cover, zones = grid(ground.cover), grid(ground.zones)
    if cover is not None:
        classes = ground.cover_classes
        cover = cover_heights(cover) if classes is None else class_heights(cover, height_m=dict(classes))
    if zones is not None:
        zones = zone_grid(zones, zone=dict(ground.zone_classes))
    return GroundWindow(grid(ground.terrain), cover, zones)


def _inside(folder: Path, name: str, key: str, anywhere: bool) -> Path:
    """The named folder, refused when it leads out of where it may be."""
    place = (folder / name).resolve()
    if not anywhere and not place.is_relative_to(folder.resolve()):
        raise PlanError(
            [Problem(f"{key}.folder", f"{name} lies outside the terrain folder", "the name of a folder in it")]
        )
    return place
