"""The records of the network document, ``"format": 1``."""

from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, PrivateAttr, model_validator

from sfn.plan.antenna import Antenna
from sfn.plan.correction import Correction
from sfn.plan.ground import CoverSource, TerrainSource, ZoneSource
from sfn.plan.left_out import UNJUDGED, LeftOut
from sfn.plan.listeners import ListenerSource
from sfn.plan.may_change import MayChange
from sfn.plan.off_air import OffAir
from sfn.plan.others import OtherTransmitter
from sfn.plan.planned import PlannedState
from sfn.plan.position import Position, Power
from sfn.plan.programme import Programme
from sfn.plan.receiver import Levels, Receiver, Thresholds
from sfn.plan.record import CalledField, CalledSite, Day, Id, Latency, Name, Record, Text
from sfn.plan.reported import Reported
from sfn.plan.stage import Stage
from sfn.plan.time_stamps import TimeStamps
from sfn.plan.weight import Weight
from sfn.plan.work_order import WorkOrder
from sfn.units import unit_written

Height = Annotated[float, Field(ge=-500, le=9000)]
Offset = Annotated[float, Field(ge=-60_000_000, le=60_000_000)]


def _unit(given: object) -> object:
    """A unit however it is spelled."""
    return unit_written(given) if isinstance(given, str) else given


class DelayField(Record):
    """One place where a delay can be set at a site."""

    name: CalledField
    """What the technician finds on the device or in the stream."""
    unit: Annotated[str, Field(min_length=1, max_length=40), BeforeValidator(_unit)]
    """us, ms, 100ns, 1/16.384MHz or samples@RATE; unknown: to be read off the device before anything is set."""
    step: Annotated[float, Field(gt=0, le=60_000_000)]
    """Smallest change, in the field's unit; settings are whole steps counted from zero."""
    least: float
    """Least setting, in the field's unit; may be negative."""
    greatest: float
    """Greatest setting, in the field's unit."""
    sign: Literal["later", "earlier", "unknown"]
    """Whether a greater setting makes the emission later or earlier; unknown: to be tried before anything is set."""
    insertion_us: Annotated[float, Field(ge=-60_000_000, le=60_000_000)] = 0.0
    """Delay that the device adds when set to zero. [us]"""
    set: float | None = None
    """What it is set to now, in the field's unit; none: nobody has read it."""
    entry: Literal["absolute", "incremental"] = "absolute"
    """Whether the device takes the setting itself or the change against what is set now."""
    reference_plane: Name | None = None
    """Point at which the setting holds."""
    menu: Name | None = None
    """Where the device has it, in the device's own words."""
    own_sign: Name | None = None
    """How the device itself words the sign or direction of the setting."""
    interrupts: Literal["yes", "no"] | None = None
    """Whether changing it interrupts the programme; none: nobody knows."""
    entered_at: Literal["device", "head-end"] | None = None
    """head-end: sent in the stream (MIP, T2-MI, TIST), nothing is set at the site."""
    model: Name | None = None
    """Model of the device, in words of your own; two of one model count in the same steps."""
    transmitter_id: Name | None = None
    """By which the head-end addresses this transmitter in the stream."""

    @model_validator(mode="after")
    def _limits_in_order(self) -> "DelayField":
        """The least setting lies below the greatest."""
        if self.least > self.greatest:
            raise ValueError(
                f"least {self.least:g} lies above greatest {self.greatest:g}; exchange them or correct one"
            )
        return self


class Chain(Record):
    """Ordered stages of one route, from the reference point to the antenna."""

    route: Annotated[str, Field(pattern=r"^(main|standby|spare)([ -][A-Za-z0-9 ._-]{1,40})?$")]
    """main, standby or spare."""
    stages: Annotated[tuple[Id, ...], Field(min_length=1)]
    """Ids of the stages, in the order the signal passes them."""
    set: dict[str, float | None] | None = None
    """What each delay field is set to while this route is in use, where a device keeps one setting a route.

    null: nobody has read it there, whatever the field says for the other routes.
    """


class LockSheet(Record):
    """What must agree between FM transmitters besides the delay."""

    carrier_reference: Text | None = None
    """What the carrier is locked to."""
    pilot_source: Text | None = None
    """Where the 19 kHz pilot comes from."""
    pilot_phase_deg: float | None = None
    """Phase of the pilot against the reference. [degrees]"""
    deviation_khz: Annotated[float, Field(gt=0, le=200)] | None = None
    """Peak deviation. [kHz]"""
    deviation_match_pct: Annotated[float, Field(gt=0, le=100)] | None = None
    """How well the deviations of the sites must match. [%]"""
    composite_polarity: Text | None = None
    """Polarity of the composite signal."""
    carrier_error_hz: Annotated[float, Field(ge=0, le=10_000)] | None = None
    """Uncertainty of its carrier. [Hz]"""
    pre_emphasis_us: Literal[0, 50, 75] | None = None
    """Pre-emphasis time constant. [us]"""
    rds_source: Text | None = None
    """Where RDS is generated."""


class TimeReference(Record):
    """What a site's time comes from: the scale it keeps, and the antenna cable of its timing receiver."""

    scale: Literal["UTC", "GPS", "TAI", "local"]
    """Time scale of its time of day: one at all sites, or time stamps are whole seconds off."""
    cable_m: Annotated[float, Field(ge=0, le=10_000)] | None = None
    """Antenna cable of the timing receiver. [m]"""
    cable_velocity_factor: Annotated[float, Field(ge=0.3, le=1)] = 0.83
    """Speed in that cable as a part of that in vacuum."""
    entered_ns: Annotated[float, Field(ge=-100_000, le=100_000)] = 0.0
    """Cable compensation entered in the receiver. [ns]"""


class LevelShift(Record):
    """What drive tests add to a site's predicted levels: accepted shifts at even bearings, straight between them."""

    sectors_db: Annotated[tuple[Annotated[float, Field(ge=-30, le=30)], ...], Field(min_length=1, max_length=72)]
    """Shift at 0, 360 / N, ... degrees from the site, clockwise from true north; one alone is all round. [dB]"""
    source: Annotated[Text, Field(min_length=1)]
    """What it was taken from, by whom."""
    date: Day
    """When it was accepted."""


class Site(Record):
    """One transmitter: where it stands, what it radiates, how it is fed and what delays it."""

    id: Id
    """Short name used in files and commands."""
    name: CalledSite
    """Name for people."""
    position: Position
    """Where the antenna stands."""
    ground_m: Height
    """Ground above sea level. [m]"""
    antenna_m: Annotated[float, Field(gt=0, le=1000)]
    """Middle of the antenna above ground. [m]"""
    erp_kw: Power
    """Effective radiated power in each plane. [kW]"""
    antenna: Antenna | None = None
    """Directional patterns and tilt; none: alike in all directions."""
    on_air: bool
    """Whether the site is radiating."""
    offset_us: Offset = 0.0
    """Deliberate launch time minus the common delay, positive = later. [us]"""
    offset_held: bool = False
    """The search for better offsets leaves this one alone."""
    fed_off_air_from: Id | None = None
    """Site whose emission this one receives and radiates again."""
    off_air: OffAir | None = None
    """How it hears its parent, and what keeps it from hearing itself."""
    delay_fields: tuple[DelayField, ...]
    """Where delay can be set, in any order."""
    chains: Annotated[tuple[Chain, ...], Field(min_length=1)]
    """One chain a route."""
    least_offset_us: Offset | None = None
    """Least offset the search may choose. [us]"""
    greatest_offset_us: Offset | None = None
    """Greatest offset the search may choose. [us]"""
    time_reference: TimeReference | None = None
    """Time scale and timing receiver of the site."""
    level_shift: LevelShift | None = None
    """Correction of its predicted levels, from drive tests."""
    remote: bool = False
    """The delay can be set from a distance, without a visit."""
    mast: Text | None = None
    """Name of the mast, at sites that share one: then they may stand at one position."""
    without_reference: Text | None = None
    """What the exciter does when its time or frequency reference is lost, and after how long."""
    lock: LockSheet | None = None
    """What must agree besides the delay (FM)."""


class CommonDelay(Record):
    """The launch time that all sites would share if none had an offset."""

    mode: Literal["automatic", "fixed"]
    """automatic: as short as the slowest chain allows, plus the margin."""
    margin_us: Latency | None = None
    """What is added to the slowest chain's need. [us]"""
    value_us: Latency | None = None
    """The fixed common delay. [us]"""

    @model_validator(mode="after")
    def _fits_mode(self) -> "CommonDelay":
        """Automatic takes a margin, fixed takes a value."""
        if self.mode == "automatic" and (self.margin_us is None or self.value_us is not None):
            raise ValueError("an automatic common delay takes margin_us and no value_us; give just that")
        if self.mode == "fixed" and (self.value_us is None or self.margin_us is not None):
            raise ValueError("a fixed common delay takes value_us and no margin_us; give just that")
        return self


class Network(Record):
    """The transmitters that share one frequency and programme, with the service they carry."""

    format: Literal[1]
    """Version of the document format."""
    name: Name
    """Name of the network."""
    service: Name
    """Broadcast system and mode, by the id that ``python -m sfn services`` lists."""
    frequency_mhz: Annotated[float, Field(ge=0.1, le=6000)]
    """Carrier or centre frequency. [MHz]"""
    refractivity_n: Annotated[float, Field(ge=200, le=500)] = 315.0
    """Refractivity of the air, 315 by ITU-R P.453. [N-units]"""
    delta_n: Annotated[float, Field(ge=10, le=120)] = 45.0
    """Refractivity gradient in the lowest kilometre, as a fall. [N-units/km]"""
    surface_refractivity_n0: Annotated[float, Field(ge=200, le=450)] = 325.0
    """Sea-level surface refractivity. [N-units]"""
    receiver: Receiver = Receiver()
    """The receiver that maps and points assume."""
    reference_point: Name
    """Point in the studio from which every chain's latency counts."""
    common_delay: CommonDelay
    """Launch time that all sites share before offsets."""
    time_stamps: TimeStamps | None = None
    """What the network's time stamps mean."""
    levels: Levels | None = None
    """OFDM: spread and correlation of levels over the places around a point."""
    programme: Programme | None = None
    """FM: what is heard, for quality; light at 50 us and 0 dBr where not given."""
    thresholds: Thresholds = Thresholds()
    """Figures that decide what counts."""
    terrain: TerrainSource | None = None
    """Ground heights; none: the earth counts as smooth."""
    cover: CoverSource | None = None
    """What stands on the ground."""
    zones: ZoneSource | None = None
    """Sea, coast and inland."""
    listeners: ListenerSource | None = None
    """Where people live; none: areas only."""
    weights: Annotated[tuple[Weight, ...], Field(max_length=100)] | None = None
    """What counts more or less when offsets are chosen."""
    other_transmitters: Annotated[tuple[OtherTransmitter, ...], Field(max_length=200)] | None = None
    """Transmitters of other programmes on this channel or beside it; none: whether they disturb cannot be told."""
    work_order: WorkOrder | None = None
    """Who allows the change, when, and how it is taken back."""
    stages: Annotated[tuple[Stage, ...], Field(max_length=20_000)]
    """Every stage, held once."""
    sites: Annotated[tuple[Site, ...], Field(min_length=1, max_length=500)]
    """The transmitters, in the order of the tables."""
    corrections: Annotated[tuple[Correction, ...], Field(max_length=1000)] | None = None
    """Measured launch errors that stages took up; kept by the program, so that none counts twice."""
    notes: Text | None = None
    """Anything a colleague should know."""
    planned: Annotated[tuple[PlannedState, ...], Field(max_length=100)] | None = None
    """How the network is to stand later: a phase, a site out, reduced power."""
    may_change: MayChange | None = None
    """What a search for plans may change besides offsets, what changes cost, and licence contours."""
    _state: "tuple[PlannedState, Network] | None" = PrivateAttr(default=None)
    _own_services: str = PrivateAttr(default="")
    _left_out: tuple[LeftOut, ...] = PrivateAttr(default=())
    _set_aside: tuple[tuple[int, Site], ...] = PrivateAttr(default=())
    _reported: Reported | None = PrivateAttr(default=None)
    _plain_m: float | None = PrivateAttr(default=None)

    @property
    def own_services(self) -> str:
        """Text of the user's own file of services that the document is read under; empty where there is none.

        No key of the document, but results depend on it: it goes wherever the record goes, copies too, and two
        records under different files are not equal. `sfn.systems.of_network` reads it.
        """
        return self._own_services

    def under(self, own_services: str) -> "Network":
        """The same document under another file of services, given as text."""
        made = self.model_copy()
        made._own_services = own_services
        return made

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """Sites of the document that this part of it does without, because they cannot be read.

        Empty for a whole document. `sfn.timing.readable` makes the part; like `own_services` this goes wherever the
        record goes, so that whatever is worked out from it can say so.
        """
        return self._left_out

    @property
    def whole(self) -> "Network":
        """With the sites that were left out, at their places in the document: what checksums are of."""
        if not self._set_aside:
            return self
        sites = list(self.sites)
        for index, site in self._set_aside:
            sites.insert(index, site)
        made = self.model_copy(update={"sites": tuple(sites)})
        made._left_out, made._set_aside = (), ()
        return made

    @property
    def unjudged(self) -> str:
        """Why advice on power, pattern and muting is withheld: a site on air is left out; empty where none is."""
        return UNJUDGED if any(site.on_air for _, site in self._set_aside) else ""

    @property
    def transmitting(self) -> frozenset[str]:
        """Ids of sites that radiate: on air, and so is whatever they are fed from off air, all the way up."""
        sites = {site.id: site for site in self.sites}

        def radiates(site: Site) -> bool:
            """Whether it and all above it are on air; one that is fed in a circle, or from nowhere, goes by itself."""
            seen, at = set[str](), site
            while at.on_air and at.id not in seen:
                seen.add(at.id)
                if (parent := sites.get(at.fed_off_air_from or "")) is None:
                    return True
                at = parent
            return at.on_air

        return frozenset(site.id for site in self.sites if radiates(site))

    @property
    def places(self) -> dict[str, int]:
        """Where each site stands in the whole document, by its id: what the place of a problem counts by."""
        return {site.id: i for i, site in enumerate(self.whole.sites)}

    def without(self, left_out: tuple[LeftOut, ...]) -> "Network":
        """The part of a whole document that does without some sites; at least one must stay."""
        gone = {one.site_id for one in left_out}
        aside = tuple((i, site) for i, site in enumerate(self.sites) if site.id in gone)
        made = self.model_copy(update={"sites": tuple(site for site in self.sites if site.id not in gone)})
        made._left_out, made._set_aside = left_out, aside
        return made

    @property
    def plain_m(self) -> float:
        """Height of the plain that stands in the place of terrain: the lowest ground of all its sites. [m]

        Neither sea level, above which a mast on a high plateau would stand as on a cliff, nor each site's own ground,
        on which a mountain's mast would lose its mountain: a place has one height for all of them. Sites not
        transmitting count, so that none moves ground by stopping; `of_sites` keeps it for some of the sites.
        """
        return min(site.ground_m for site in self.sites) if self._plain_m is None else self._plain_m

    def of_sites(self, sites: Sequence[Site]) -> "Network":
        """The same network with these sites alone, in the same country: the plain lies where it lay."""
        made = self.model_copy(update={"sites": tuple(sites)})
        made._plain_m = self.plain_m
        return made

    @property
    def state(self) -> PlannedState | None:
        """The planned state that this is the network in; None where it stands as today.

        No key of the document: `sfn.timing.planned_state` makes it, and whatever is worked out from it says so.
        """
        return self._state[0] if self._state else None

    @property
    def today(self) -> "Network":
        """The network as it stands today: what checksums are of."""
        return self._state[1] if self._state else self

    def standing_as(self, state: PlannedState, changed: "Network") -> "Network":
        """A network in a planned state: `changed` is what this one then is."""
        made = changed.model_copy()
        made._state = (state, self)
        return made

    @property
    def reported(self) -> Reported | None:
        """What was reported of the settings, where somebody put it beside the document; `sfn.timeline` does.

        No key of the document: `set` of its fields is then what the latest report says.
        """
        return self._reported

    def beside(self, reported: Reported) -> "Network":
        """The same document beside what was reported of its settings."""
        made = self.model_copy()
        made._reported = reported
        return made
