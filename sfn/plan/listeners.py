"""Where the people live whom a network is to reach."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from sfn.plan.record import Name, Record


class Place(Record):
    """One place with its inhabitants."""

    name: Name
    """Name for people."""
    lat: Annotated[float, Field(ge=-85, le=85)]
    """Its middle. [degrees north]"""
    lon: Annotated[float, Field(ge=-180, le=180)]
    """Its middle. [degrees east]"""
    people: Annotated[float, Field(ge=0, le=100_000_000)]
    """Inhabitants."""


class ListenerSource(Record):
    """People from a file, from places written here, or from the optional list of the world's places."""

    file: Annotated[str, Field(min_length=1, max_length=500)] | None = None
    """GeoTIFF of people in each cell, or CSV with the columns name,lat,lon,people; beside the document or in the
    program's terrain folder."""
    places: Annotated[tuple[Place, ...], Field(min_length=1, max_length=20_000)] | None = None
    """Places, each spread over a disc."""
    source: Literal["places"] | None = None
    """places: all places from 500 inhabitants, where the extra `places` is installed."""

    @model_validator(mode="after")
    def _one_of_three(self) -> "ListenerSource":
        """Just one of the three."""
        if (self.file is not None) + (self.places is not None) + (self.source is not None) != 1:
            raise ValueError(
                'listeners are {"file": "..."}, {"places": [...]} or {"source": "places"}; give one of the three'
            )
        return self
