"""Transmitters of other programmes, on the network's channel or beside it."""

from typing import Annotated

from pydantic import Field, model_validator

from sfn.plan.antenna import Antenna
from sfn.plan.position import Position, Power
from sfn.plan.record import Id, Name, Record, Text

Ratio = Annotated[float, Field(ge=-100, le=100)]


class OtherTransmitter(Record):
    """One transmitter that carries another programme: what it radiates, and what protects against it."""

    id: Id
    """Short name used in files and answers."""
    name: Name
    """Name for people."""
    position: Position
    """Where the antenna stands."""
    ground_m: Annotated[float, Field(ge=-500, le=9000)]
    """Ground above sea level. [m]"""
    antenna_m: Annotated[float, Field(gt=0, le=1000)]
    """Middle of the antenna above ground. [m]"""
    erp_kw: Power
    """Effective radiated power in each plane. [kW]"""
    antenna: Antenna | None = None
    """Directional patterns and tilt; none: alike in all directions."""
    on_air: bool = True
    """Whether it is radiating."""
    spacing_khz: Annotated[float, Field(ge=-50_000, le=50_000)] = 0.0
    """Its carrier minus ours; 0: the same channel. [kHz]"""
    steady_ratio_db: Ratio | None = None
    """Protection ratio against its field at 50 % of time; by ITU-R BS.412 (FM) or the service where not given. [dB]"""
    tropospheric_ratio_db: Ratio | None = None
    """Protection ratio against its field at 1 % of time; likewise. [dB]"""
    source: Text | None = None
    """Where these figures come from."""

    @model_validator(mode="after")
    def _both_ratios(self) -> "OtherTransmitter":
        """Ratios are given together: half a pair would mix two tables."""
        if (self.steady_ratio_db is None) != (self.tropospheric_ratio_db is None):
            raise ValueError("steady_ratio_db and tropospheric_ratio_db go together; give both or neither")
        return self
