"""How a site that is fed off air hears its parent, and what keeps it from hearing itself."""

from typing import Annotated, Literal

from pydantic import Field

from sfn.plan.record import Record, Text


class OffAir(Record):
    """Receiving antenna, isolation and echo canceller of a site that radiates again what it receives."""

    receiving_height_m: Annotated[float, Field(ge=1, le=3000)] | None = None
    """Receiving antenna above ground; as high as the transmitting antenna where not given. [m]"""
    receiving_bearing_deg: Annotated[float, Field(ge=-180, le=360)] | None = None
    """Where the receiving antenna points, clockwise from true north; at the parent where not given. [degrees]"""
    receiving_gain_dbd: Annotated[float, Field(ge=-30, le=40)] | None = None
    """Gain of the receiving antenna less the loss of its feeder. [dBd]"""
    front_to_back_db: Annotated[float, Field(ge=0, le=60)] | None = None
    """What the receiving antenna takes away from behind; that of ITU-R BT.419 or BS.599 where not given. [dB]"""
    received_dbuvm: Annotated[float, Field(ge=0, le=140)] | None = None
    """Measured field strength of the parent at the receiving antenna; computed where not given. [dBuV/m]"""
    transmitting_gain_dbd: Annotated[float, Field(ge=-30, le=40)] | None = None
    """Gain of the transmitting antenna less the loss of feeder and filter. [dBd]"""
    isolation_db: Annotated[float, Field(ge=0, le=200)] | None = None
    """Measured loss from the transmitting to the receiving antenna's terminals; estimated from the separation where
    not given. [dB]"""
    separation_m: Annotated[float, Field(gt=0, le=5000)] | None = None
    """Distance between the two antennas. [m]"""
    separation_direction: Literal["one above the other", "side by side"] | None = None
    """How the two antennas stand to each other."""
    margin_db: Annotated[float, Field(ge=0, le=40)] = 10.0
    """Gain margin that is wanted; common practice is 10 to 15. [dB]"""
    cancelled_db: Annotated[float, Field(ge=0, le=60)] = 0.0
    """What an echo canceller takes away from its own signal, inside its window. [dB]"""
    window_us: Annotated[float, Field(ge=0, le=10_000)] = 0.0
    """Longest echo that the canceller handles. [us]"""
    echo_us: Annotated[float, Field(ge=0, le=10_000)] | None = None
    """Longest echo of its own signal that comes back, from hills and buildings. [us]"""
    parent_margin_db: Annotated[float, Field(ge=0, le=60)] = 10.0
    """How far the parent must stand above all other sites together, behind the receiving antenna. [dB]"""
    note: Text | None = None
    """How and when these were measured."""
