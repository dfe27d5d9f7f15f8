"""Where a network's terrain, ground cover and zones come from."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from sfn.plan.record import Record

Folder = Annotated[str, Field(min_length=1, max_length=500)]
ClassNumber = Annotated[int, Field(ge=-32768, le=65535)]


class TerrainSource(Record):
    """Terrain that came with the program, or a folder of files."""

    source: Literal["ridge"] | None = None
    """ridge: the demos' terrain, 36.16-36.446 N, 84.078-84.414 W; files of your own go by the key "folder"."""
    folder: Folder | None = None
    """Folder of GeoTIFF or SRTM .hgt files, beside the document or in the program's terrain folder."""
    heights_of: Literal["surface"] | None = None
    """surface: of treetops and roofs, what covers the ground is taken off and counts once; else of the bare ground."""

    @model_validator(mode="after")
    def _one_of_two(self) -> "TerrainSource":
        """Either a source or a folder."""
        if (self.source is None) == (self.folder is None):
            raise ValueError('terrain is either {"source": "ridge"} or {"folder": "..."}; give one of the two')
        return self


class CoverClass(Record):
    """Height of what covers the ground in one class of a land-cover raster."""

    number: ClassNumber
    """Value in the raster."""
    height_m: Annotated[float, Field(ge=0, le=200)]
    """Height above ground. [m]"""
    distance_m: Annotated[float, Field(ge=1, le=100)] | None = None
    """How far before a receiver in it the cover stands; 27 where not given. [m]"""


class CoverSource(Record):
    """Ground cover: a raster of heights above ground, or of classes with a height for each."""

    folder: Folder
    """Folder of GeoTIFF files."""
    classes: tuple[CoverClass, ...] | None = None
    """Heights of the classes, every one that occurs; not given: the raster holds heights in metres."""


class ZoneClass(Record):
    """Zone of one class of a raster."""

    number: ClassNumber
    """Value in the raster."""
    zone: Literal["inland", "coast", "sea"]
    """coast: land within 50 km of the sea and below 100 m."""


class ZoneSource(Record):
    """A raster that tells sea, coast and inland apart; without it all is inland."""

    folder: Folder
    """Folder of GeoTIFF files."""
    classes: Annotated[tuple[ZoneClass, ...], Field(min_length=1)]
    """Zones of the classes, every one that occurs."""
