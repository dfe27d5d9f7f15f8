"""Stages: the steps of a chain, each held once, whoever shares it."""

from typing import Annotated, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from sfn.plan.record import Day, Id, Latency, Name, Record, Text, Tolerance, lacking
from sfn.plan.stream_plan import StreamPlan

StageKind = Literal[
    "encoder",
    "packetising",
    "loss protection",
    "network",
    "buffer",
    "decoder",
    "processing",
    "stereo generator",
    "modulator",
    "filter",
    "feeder",
    "fibre",
    "microwave",
    "time-stamped section",
    "other",
]
ToleranceKind = Literal["model", "restart", "unit"]
Source = Literal["measured", "data sheet", "assumed", "computed"]

# Each way to give a latency, by the keys it needs.
_WAYS: dict[str, tuple[str, ...]] = {
    "feeder": ("length_m", "velocity_factor"),
    "fibre": ("length_m", "group_index"),
    "microwave": ("path_km", "equipment_us"),
    "time-stamped section": ("release_delay_us",),
}
_ONLY_TIME_STAMPED = ("inside", "jitter_margin_us", "least_processing_us")


class Stage(Record):
    """One step of a chain: a latency, its tolerance, and how the figure is known."""

    id: Id
    """Name by which chains refer to this stage."""
    kind: StageKind
    """What the stage does."""
    latency_us: Latency | None = None
    """Time the signal takes through the stage. [us]"""
    length_m: Annotated[float, Field(ge=0, le=2_000_000)] | None = None
    """Length of a feeder or fibre. [m]"""
    velocity_factor: Annotated[float, Field(ge=0.3, le=1)] | None = None
    """Speed in the feeder as a part of that in vacuum, 0.3 to 1."""
    group_index: Annotated[float, Field(ge=1, le=3)] | None = None
    """Group index of the fibre, 1.468 for the usual single-mode fibre."""
    path_km: Annotated[float, Field(ge=0, le=1000)] | None = None
    """Length of a microwave path through the air. [km]"""
    equipment_us: Latency | None = None
    """Latency of the microwave equipment at both ends together. [us]"""
    release_delay_us: Latency | None = None
    """Time after the common clock's instant at which a time-stamped section releases the signal. [us]"""
    inside: tuple[Id, ...] = ()
    """Stages that a time-stamped section must cover; they add nothing to the latency."""
    jitter_margin_us: Latency | None = None
    """Part of the release delay kept for the variation of the network. [us]"""
    least_processing_us: Latency | None = None
    """Shortest time the device needs between arrival and release. [us]"""
    tolerance_us: Tolerance | None = None
    """Uncertainty of the latency, either way. [us]"""
    tolerance_kind: ToleranceKind | None = None
    """model: common to model and firmware; restart: new at every restart; unit: differs from unit to unit."""
    source: Source | None = None
    """How the figure is known."""
    date: Day | None = None
    """Day of the measurement, as 2026-09-14."""
    measured_with: Text | None = None
    """Instruments, cables and filter delays that the reading used."""
    model: Name | None = None
    """Model of the device, in words of your own; a common tolerance cancels between equal models."""
    firmware: Name | None = None
    """Firmware or mode that the figure holds for."""
    changed: Day | None = None
    """Day of the newest change of firmware or mode; an older figure must be measured again."""
    reference_plane: Name | None = None
    """Point up to which the figure holds: exciter input, exciter output, coupler after the filter, antenna."""
    shapes_waveform: bool = False
    """Changes the waveform (dynamics processing, stereo generator): must be one for all sites."""
    identical: bool = False
    """Waveform-changing devices are bit-identical and sample-locked at all sites."""
    adapts: bool = False
    """Its delay adapts or wanders: an automatic receive buffer, an asynchronous sample-rate converter."""
    stream_plan: (
        Annotated[
            Annotated[Text, Tag("text")] | Annotated[StreamPlan, Tag("record")],
            Discriminator(lambda held: "text" if isinstance(held, str) else "record"),
        ]
        | None
    ) = None
    """Link plan from which a computed latency follows: a record of named figures, in older documents a text."""
    note: Text | None = None
    """Anything a colleague should know."""

    @model_validator(mode="after")
    def _one_way_to_give_the_latency(self) -> "Stage":
        """A latency is given in one complete way, fitting the kind."""
        way = _WAYS.get(self.kind, ())
        given = {key for keys in _WAYS.values() for key in keys if getattr(self, key) is not None}
        strangers = given - set(way)
        if strangers:
            raise ValueError(
                f"{_listed(strangers)} does not belong to kind {self.kind!r}; remove it or change the kind"
            )
        if self.kind == "time-stamped section":
            if self.latency_us is not None:
                raise ValueError("a time-stamped section takes release_delay_us, not latency_us; remove latency_us")
        else:
            foreign = [key for key in _ONLY_TIME_STAMPED if getattr(self, key) not in (None, ())]
            if foreign:
                raise ValueError(f"{_listed(foreign)} belongs to a time-stamped section only; remove it")
        if given and self.latency_us is not None:
            raise ValueError(f"latency_us and {_listed(given)} both give the latency; keep one of them")
        missing = [key for key in way if key not in given]
        if self.latency_us is None and (missing or not way):
            wanted = "latency_us" if not way else _listed(missing)
            text = f"{wanted} is missing, so the stage has no latency; give {_ways_of(self.kind)}"
            raise lacking(text, missing or ["latency_us"])
        if self.source == "measured" and self.date is None:
            text = "date is missing for a measured latency; give the day of the measurement, as 2026-09-14"
            raise lacking(text, ["date"])
        return self


def _listed(keys: set[str] | list[str]) -> str:
    """Keys as a list in words."""
    return " and ".join(sorted(keys))


def _ways_of(kind: str) -> str:
    """The ways to give the latency of a kind of stage, in words."""
    way = " and ".join(_WAYS.get(kind, ()))
    if kind == "time-stamped section":
        return way
    return f"latency_us, or {way}" if way else "latency_us"
