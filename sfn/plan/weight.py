"""What counts more, and what less, when offsets are chosen: places, areas and roads."""

from typing import Annotated

from pydantic import Field, model_validator

from sfn.plan.record import Name, Record

MOST_CORNERS = 500
MOST_ROAD_POINTS = 5000

Latitude = Annotated[float, Field(ge=-85, le=85)]
Longitude = Annotated[float, Field(ge=-180, le=180)]
LatLon = tuple[Latitude, Longitude]


class Weight(Record):
    """A place, an area or a road that counts more or less than the rest; where several meet, their factors multiply."""

    name: Name
    """Name for people, such as "this town first"."""
    factor: Annotated[float, Field(ge=0, le=1000)] = 1.0
    """How many times as much it counts; 0: it does not matter."""
    place: Name | None = None
    """Name of a place among the listeners: the disc that its people are spread over."""
    area: Annotated[tuple[LatLon, ...], Field(min_length=3, max_length=MOST_CORNERS)] | None = None
    """Corners of an area, [latitude, longitude] each, in order. [degrees]"""
    road: Annotated[tuple[LatLon, ...], Field(min_length=2, max_length=MOST_ROAD_POINTS)] | None = None
    """Points of a road, [latitude, longitude] each, in order. [degrees]"""
    within_m: Annotated[float, Field(gt=0, le=50_000)] | None = None
    """How far to either side of the road, or around the middle of the place. [m]"""
    people_per_km: Annotated[float, Field(ge=0, le=100_000)] | None = None
    """Listeners on each kilometre of the road, besides those who live there."""

    @model_validator(mode="after")
    def _one_of_three(self) -> "Weight":
        """Just one of place, area and road, with what belongs to it."""
        if (self.place is not None) + (self.area is not None) + (self.road is not None) != 1:
            raise ValueError("a weight has a place, an area or a road; give one of the three")
        if self.road is not None and self.within_m is None:
            raise ValueError("a road counts to some distance on either side; give within_m, such as 300")
        if self.area is not None and self.within_m is not None:
            raise ValueError("within_m is for roads and places, not for an area; leave it out")
        if self.road is None and self.people_per_km is not None:
            raise ValueError("people_per_km is for a road; leave it out")
        return self
