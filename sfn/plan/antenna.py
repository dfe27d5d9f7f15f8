"""A site's antenna: how much less it radiates away from its direction of maximum."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from sfn.plan.record import Day, Record, Text

Loss = Annotated[float, Field(ge=0, le=100)]
Turn = Annotated[float, Field(ge=-360, le=360)]
Elevation = Annotated[float, Field(ge=-90, le=90)]
HorizontalTable = Annotated[tuple[tuple[Turn, Loss], ...], Field(min_length=2, max_length=7200)]
VerticalTable = Annotated[tuple[tuple[Elevation, Loss], ...], Field(min_length=2, max_length=7200)]


class PlanePattern(Record):
    """Attenuation tables of one plane of polarisation."""

    horizontal: HorizontalTable | None = None
    """Pairs of angle from the antenna's own direction, clockwise [degrees], and attenuation [dB]."""
    vertical: VerticalTable | None = None
    """Pairs of elevation above the antenna's own horizontal [degrees], and attenuation [dB]."""


class Antenna(Record):
    """Patterns, where the antenna points, and how it is tilted."""

    azimuth_deg: Annotated[float, Field(ge=-180, le=360)] = 0.0
    """Where angle 0 of the horizontal table points, clockwise from north. [degrees]"""
    azimuth_from: Literal["true north", "magnetic north"] = "true north"
    """What the azimuth was measured from."""
    azimuth_date: Day | None = None
    """Day of a magnetic bearing, 2025 to 2029: the declination drifts."""
    electrical_tilt_deg: Annotated[float, Field(ge=-20, le=20)] = 0.0
    """Downward tilt alike in all directions; 0 where the vertical table has it already. [degrees]"""
    mechanical_tilt_deg: Annotated[float, Field(ge=-20, le=20)] = 0.0
    """Downward tilt of the mounting, fully so towards the azimuth, upward behind. [degrees]"""
    horizontal: HorizontalTable | None = None
    """Pairs of angle from the antenna's own direction, clockwise [degrees], and attenuation [dB]; none: all round."""
    vertical: VerticalTable | None = None
    """Pairs of elevation above the antenna's own horizontal [degrees], and attenuation [dB]; none: alike."""
    vertical_plane: PlanePattern | None = None
    """Tables of the vertical plane of polarisation, where they differ."""
    note: Text | None = None
    """Where the patterns come from."""

    @model_validator(mode="after")
    def _dated(self) -> "Antenna":
        """A magnetic bearing has a date."""
        if self.azimuth_from == "magnetic north" and self.azimuth_date is None:
            raise ValueError("an azimuth from magnetic north needs azimuth_date; give the day of the bearing")
        if self.azimuth_date is not None and not "2025" <= self.azimuth_date[:4] <= "2029":
            raise ValueError(
                f"azimuth_date is {self.azimuth_date}; give a day from 2025 to 2029, which the model covers"
            )
        return self
