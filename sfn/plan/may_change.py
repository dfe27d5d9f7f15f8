"""What a search may change at sites besides their offsets: bounds and steps, what changes cost, licence contours."""

from typing import Annotated

from pydantic import AfterValidator, Field, model_validator

from sfn.plan.record import Id, Name, Record
from sfn.plan.weight import MOST_CORNERS, LatLon

MOST_VALUES_N = 100
Cost = Annotated[float, Field(ge=0, le=1_000_000)]


class Steps(Record):
    """Values that may be tried: from the least on in equal steps, up to the greatest."""

    least: float
    """The first value."""
    greatest: float
    """No value lies beyond it."""
    step: Annotated[float, Field(gt=0, le=1000)]
    """From one value to the next."""

    @property
    def values(self) -> tuple[float, ...]:
        """All of them, rounded to what is typed."""
        count = int((self.greatest - self.least) / self.step + 1e-9) + 1
        return tuple(round(self.least + k * self.step, 9) for k in range(count))

    @model_validator(mode="after")
    def _few_in_order(self) -> "Steps":
        """The least first, and no more values than a search can look at."""
        if self.least > self.greatest:
            raise ValueError(
                f"least {self.least:g} lies above greatest {self.greatest:g}; exchange them or correct one"
            )
        if (self.greatest - self.least) / self.step >= MOST_VALUES_N:
            raise ValueError(f"more than {MOST_VALUES_N} values; give longer steps, or narrower bounds")
        return self


def _between(least: float, greatest: float, unit: str) -> AfterValidator:
    """Both ends within what the trade can mean."""

    def held(given: Steps) -> Steps:
        if given.least < least or given.greatest > greatest:
            raise ValueError(f"{given.least:g} to {given.greatest:g} {unit}; give {least:g} to {greatest:g} {unit}")
        return given

    return AfterValidator(held)


def _once_round(given: Steps) -> Steps:
    """No direction twice: a span of 0 to 720 is a slip of the pen."""
    if given.greatest - given.least > 360:
        raise ValueError(
            f"{given.least:g} to {given.greatest:g} degrees go round more than once; give at most 360 from end to end"
        )
    return given


class SiteChanges(Record):
    """What a search may change at some sites; what is not given stays as planned."""

    sites: Annotated[tuple[Id, ...], Field(min_length=1, max_length=500)] | None = None
    """The sites; none: all that no other line names."""
    power_db: Annotated[Steps, _between(-60, 30, "dB")] | None = None
    """Added to the effective radiated power of both planes. [dB]"""
    azimuth_deg: Annotated[Steps, _between(-180, 540, "degrees"), AfterValidator(_once_round)] | None = None
    """Where angle 0 of the pattern points, from the antenna's own north, once round at most: 350 to 370 is across it.
    [degrees]"""
    electrical_tilt_deg: Annotated[Steps, _between(-20, 20, "degrees")] | None = None
    """Downwards. [degrees]"""
    mechanical_tilt_deg: Annotated[Steps, _between(-20, 20, "degrees")] | None = None
    """Downwards. [degrees]"""
    patterns: (
        Annotated[tuple[Annotated[str, Field(min_length=1, max_length=64)], ...], Field(min_length=1, max_length=50)]
        | None
    ) = None
    """Sites whose pattern may be taken, by id; "-": alike in all directions."""
    on_air: bool = False
    """Whether it may be put on air or stop transmitting."""


class ChangeCosts(Record):
    """What a change costs, in a unit of the user's own."""

    visit: Cost = 1.0
    """A visit: a delay that cannot be set from a distance, power, on air or not transmitting."""
    rigging_day: Cost = 4.0
    """A day on the mast, the visit included: another direction, pattern or tilt."""
    licence_change: Cost = 2.0
    """What a licence is asked for one site: whatever is radiated otherwise."""
    unit: Name = "visits"
    """What costs are counted in."""


class LicenceContour(Record):
    """An area that some sites must not reach out of at a field strength, whatever a search changes."""

    name: Name
    """Name for people."""
    sites: Annotated[tuple[Id, ...], Field(min_length=1, max_length=500)] | None = None
    """The sites that it binds, each by itself; none: every site."""
    level_dbuvm: Annotated[float, Field(ge=-20, le=150)]
    """Field strength of the contour, exceeded for 50 % of time. [dB(uV/m)]"""
    area: Annotated[tuple[LatLon, ...], Field(min_length=3, max_length=MOST_CORNERS)]
    """Its corners, [latitude, longitude] each, in order. [degrees]"""


class MayChange(Record):
    """What may be changed, for the search for plans."""

    lines: Annotated[tuple[SiteChanges, ...], Field(max_length=500)] = ()
    """What may change at which sites; each site in one line."""
    costs: ChangeCosts | None = None
    """None: those that are usual here."""
    licences: Annotated[tuple[LicenceContour, ...], Field(max_length=100)] = ()
    """Contours that hold."""
