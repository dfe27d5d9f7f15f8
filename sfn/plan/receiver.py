"""The receiver that a document assumes, how levels vary around it, and what counts."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from sfn.plan.record import Record, Text


class Levels(Record):
    """How levels vary over the places around a point; the service's figures where not given."""

    sigma_db: Annotated[float, Field(ge=0, le=15)] | None = None
    """Spread over places: 5.5 outdoors, 6.3 indoors at VHF, 7.8 indoors at UHF (GE06). [dB]"""
    site_correlation: Annotated[float, Field(ge=0, le=0.9)] | None = None
    """Of two sites up to 30 degrees apart, falling to 0 at 90; 0.5 where not given. [1]"""


class ReceiverWindow(Record):
    """How OFDM receivers place their FFT window; the strategy's own figures for the service where not given."""

    strategy: Literal["strongest", "first", "centre-of-gravity", "quasi-optimal"] = "quasi-optimal"
    """Maps, points, roads and the search count this one."""
    backoff_us: Annotated[float, Field(ge=0, le=100_000)] | None = None
    """How far inside the guard interval the strategy puts its signal (not of quasi-optimal). [us]"""
    threshold_db: Annotated[float, Field(ge=0, le=60)] | None = None
    """first: how far below the strongest a signal still counts. [dB]"""


class Blend(Record):
    """FM: whose sets listen, and how they blend to mono; usual figures (from memory) where not given."""

    listeners: Literal["car", "portable", "hi-fi"] | None = None
    """Cars blend all, portables half, hi-fi none; by the receiving antenna where not given."""
    blending_pct: Annotated[float, Field(ge=0, le=100)] | None = None
    """Share of the receivers that blend, where it is not that. [%]"""
    full_db: Annotated[float, Field(ge=0, le=70)] = 36.0
    """Unblended stereo S/N from which nothing is blended. [dB]"""
    none_db: Annotated[float, Field(ge=0, le=70)] = 22.0
    """Unblended stereo S/N below which sound is mono. [dB]"""
    down_s: Annotated[float, Field(gt=0, le=60)] = 0.1
    """Time constant of going to mono. [s]"""
    up_s: Annotated[float, Field(gt=0, le=600)] = 5.0
    """Time constant of coming back. [s]"""

    @model_validator(mode="after")
    def _in_order(self) -> "Blend":
        """Full stereo needs more than mono."""
        if self.none_db >= self.full_db:
            raise ValueError(f"none_db {self.none_db:g} must lie below full_db {self.full_db:g}; correct one")
        return self


class Receiver(Record):
    """The receiver that maps and points assume."""

    height_m: Annotated[float, Field(ge=1, le=100)] = 1.5
    """Receiving antenna above ground: 1.5 for a car, 10 for a roof. [m]"""
    polarisation: Literal["h", "v", "stronger"] = "stronger"
    """Plane in which it receives; the stronger of the two where it does not matter."""
    antenna: Literal["roof"] | None = None
    """roof: directional, pointed at the strongest site (ITU-R BT.419, BS.599); alike from all round where not given."""
    window: ReceiverWindow | None = None
    """OFDM: where receivers open their window."""
    blend: Blend | None = None
    """FM: whose sets listen, and how they blend to mono."""
    indoors: Literal["traditional", "efficient"] | None = None
    """Building around the receiver (ITU-R P.2109; efficient: metallised glass, foil); outdoors where not given."""
    indoor_places_pct: Annotated[float, Field(ge=1, le=99)] | None = None
    """Indoor places whose building loss is not greater; 50 where not given. [%]"""

    @model_validator(mode="after")
    def _roof_or_room(self) -> "Receiver":
        """A roof antenna is outdoors, and places indoors need a building."""
        if self.antenna == "roof" and self.indoors is not None:
            raise ValueError("a roof antenna does not stand indoors; give one of the two")
        if self.indoor_places_pct is not None and self.indoors is None:
            raise ValueError("indoor_places_pct counts for receivers indoors alone; name the building")
        return self


class Thresholds(Record):
    """Figures that decide what counts; those of the service where not given."""

    usable_dbuvm: Annotated[float, Field(ge=-50, le=150)] | None = None
    """Least median field strength that is usable. [dBuV/m]"""
    usable_source: Text | None = None
    """Where that figure comes from."""
    significant_db: Annotated[float, Field(ge=0, le=60)] | None = None
    """A signal within this of the strongest counts. [dB]"""
    equal_signal_db: Annotated[float, Field(gt=0, le=20)] = 6.0
    """Half-width of the equal-signal band. [dB]"""
    adequate_snr_db: Annotated[float, Field(ge=0, le=70)] | None = None
    """FM: audio S/N from which reception is adequate. [dB]"""
    target_snr_db: Annotated[float, Field(ge=0, le=70)] | None = None
    """FM: audio S/N from which it has margin. [dB]"""
    implementation_margin_db: Annotated[float, Field(ge=0, le=20)] | None = None
    """What a real receiver is worse than the ideal one (FM) or than published ratios (OFDM, 8-VSB). [dB]"""
