"""Where an antenna stands and what it radiates, as records of the document."""

from typing import Annotated

from pydantic import Field, model_validator

from sfn.plan.record import Record, lacking


class Position(Record):
    """A position as it was written, with the coordinate reference system it was given in."""

    text: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    """Decimal degrees, degrees-minutes(-seconds), UTM, MGRS, British or Irish grid letters, as written."""
    easting_m: float | None = None
    """Easting in the projected system `crs`, in metres whatever the system counts in. [m]"""
    northing_m: float | None = None
    """Northing in the projected system `crs`, in metres whatever the system counts in. [m]"""
    easting_ft: float | None = None
    """Easting in a projected system `crs` that counts in feet, in its own foot."""
    northing_ft: float | None = None
    """Northing in a projected system `crs` that counts in feet, in its own foot."""
    crs: Annotated[str, Field(min_length=4, max_length=60)] = "EPSG:4326"
    """EPSG code of the datum or projection that the position was given in."""

    @model_validator(mode="after")
    def _text_or_grid(self) -> "Position":
        """Either text, or easting and northing."""
        pairs = ((self.easting_m, self.northing_m), (self.easting_ft, self.northing_ft))
        filled = [pair for pair in pairs if pair != (None, None)]
        if len(filled) + (self.text is not None) != 1 or any(None in pair for pair in filled):
            said = "a position is either text, or easting_m with northing_m; give one of the two"
            raise ValueError(said) if filled or self.text is not None else lacking(said, ["text"])
        return self

    @property
    def typed(self) -> str:
        """The position as it was typed, in one line that is read as the same place with the same `crs`."""
        if self.text is not None:
            return self.text
        unit = "m" if self.easting_m is not None else "ft"
        easting, northing = (self.easting_m, self.northing_m) if unit == "m" else (self.easting_ft, self.northing_ft)
        return f"E {easting:.12g} {unit} N {northing:.12g} {unit}"


class Power(Record):
    """Effective radiated power in each plane of polarisation."""

    h: Annotated[float, Field(ge=0, le=10_000)] = 0.0
    """Horizontal plane. [kW e.r.p.]"""
    v: Annotated[float, Field(ge=0, le=10_000)] = 0.0
    """Vertical plane. [kW e.r.p.]"""
