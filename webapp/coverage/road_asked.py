"""What a script asks of a road: a line, and what is tried on the way, as one JSON object."""

from typing import Annotated

from pydantic import BaseModel, FailFast, Field
from pydantic.dataclasses import dataclass as checked

from sfn.study.lever_try import LEAST_DB, LEAST_KW, MOST_DB, MOST_KW, Lever
from sfn.study.what_if import WhatIf
from sfn.study.window_try import WindowTry
from webapp.config.limits import MOST_LEVELS_N, Latitude, Longitude, Number


@checked(slots=True, frozen=True)  # a sixth of a model's memory, and there are many
class LevelMeasured:
    """A level measured on the road."""

    lat: Latitude
    lon: Longitude
    level_dbuvm: Annotated[float, Field(ge=-50, le=160, description="[dBuV/m]")]
    site: Annotated[str, Field(description="Whose signal, by its id; empty for all on air together.")] = ""


class LeverAsked(BaseModel):
    """Power, antenna and place tried at one site; what is left out is as planned."""

    power_db: Annotated[float | None, Field(ge=LEAST_DB, le=MOST_DB, description="Added to the e.r.p. [dB]")] = None
    erp_kw: Annotated[
        float | None, Field(ge=LEAST_KW, le=MOST_KW, description="E.r.p. of the stronger plane instead. [kW]")
    ] = None
    azimuth_deg: Annotated[float | None, Field(ge=-180, le=360, description="[degrees]")] = None
    pattern: Annotated[str, Field(max_length=64, description="Site whose pattern is taken; - for none.")] = ""
    electrical_tilt_deg: Annotated[float | None, Field(ge=-20, le=20, description="Downwards. [degrees]")] = None
    mechanical_tilt_deg: Annotated[float | None, Field(ge=-20, le=20, description="Downwards. [degrees]")] = None
    antenna_m: Annotated[float | None, Field(ge=1, le=1000, description="Above ground. [m]")] = None
    position: Annotated[str, Field(max_length=200, description="Where it stands instead, on WGS84.")] = ""
    ground_m: Annotated[
        float | None, Field(ge=-500, le=9000, description="Ground there above sea level; the terrain's if empty. [m]")
    ] = None


class RoadAsked(BaseModel):
    """A line to drive along, and what is tried on the way; sites by their ids."""

    line: Annotated[
        list[tuple[Latitude, Longitude]],
        Field(min_length=2, max_length=20_000, description="[latitude, longitude] pairs on WGS 84. [degrees]"),
    ]
    spacing_m: Annotated[float, Field(ge=5, le=10_000, description="Distance of samples. [m]")] = 100.0
    rx_height_m: Annotated[float | None, Field(ge=1, le=3000, description="Above ground. [m]")] = None
    as_set: Annotated[bool, Field(description="With what is set now, not with the computed settings.")] = False
    offsets_us: Annotated[dict[str, Number], Field(description="Offsets tried, positive is later. [us]")] = {}
    clocks_late_us: Annotated[dict[str, Number], Field(description="Clocks that are late by so much. [us]")] = {}
    routes: Annotated[dict[str, str], Field(description="Routes tried, with the main route's setting.")] = {}
    off_air: Annotated[list[str], Field(description="Sites not transmitting.")] = []
    state: Annotated[str, Field(description="A planned state of the network, by its name; today where empty.")] = ""
    strategy: Annotated[str, Field(description="How OFDM receivers place their window; the network's where empty.")] = (
        ""
    )
    backoff_us: Annotated[float | None, Field(description="Back-off of that strategy. [us]")] = None
    threshold_db: Annotated[float | None, Field(description="How far down the strategy first looks. [dB]")] = None
    levers: Annotated[
        dict[str, LeverAsked], Field(description="Power, direction, pattern, tilts, height and place tried.")
    ] = {}
    log: Annotated[
        list[LevelMeasured],
        FailFast(),  # a problem for each would be a quarter of a gigabyte
        Field(
            max_length=MOST_LEVELS_N,
            description="Measured levels to hold against the prediction; of unreadable ones the first is told. "
            "A longer log goes to the page Route as a file.",
        ),
    ] = []

    @property
    def tries(self) -> WhatIf:
        """What is tried."""
        return WhatIf(
            self.offsets_us,
            self.clocks_late_us,
            self.routes,
            frozenset(self.off_air),
            WindowTry(self.strategy, self.backoff_us, self.threshold_db),
            self.state,
            {site: Lever(**lever.model_dump()) for site, lever in self.levers.items()},
        )
