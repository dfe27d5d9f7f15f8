"""The records of the network document, ``"format": 1``."""

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, PrivateAttr, model_validator

from sfn.plan.antenna import Antenna
from sfn.plan.correction import Correction
from sfn.plan.ground import CoverSource, TerrainSource, ZoneSource
from sfn.plan.listeners import ListenerSource
from sfn.plan.off_air import OffAir
from sfn.plan.record import Day, Id, Latency, Name, Record, Text
from sfn.plan.stage import Stage
from sfn.plan.weight import Weight

Height = Annotated[float, Field(ge=-500, le=9000)]
Offset = Annotated[float, Field(ge=-60_000_000, le=60_000_000)]


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
            raise ValueError("a position is either text, or easting_m with northing_m; give one of the two")
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


class DelayField(Record):
    """One place where a delay can be set at a site."""

    name: Name
    """What the technician finds on the device or in the stream."""
    unit: Annotated[str, Field(min_length=1, max_length=40)]
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
    set: dict[str, float] | None = None
    """What each delay field is set to while this route is in use, where a device keeps one setting a route."""


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
    name: Name
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


def _one_or_more(given: object) -> object:
    """One id stands for a list of one; JSON knows no tuples."""
    return (given,) if isinstance(given, str) else tuple(given) if isinstance(given, list) else given


class TimeStamps(Record):
    """What the network's time stamps mean."""

    meaning: Literal["origin", "emission", "unknown"]
    """origin: every stage adds to the stamp; emission: the stamp is the instant at a plane; unknown: not known yet."""
    plane: Annotated[tuple[Id, ...], Field(min_length=1), BeforeValidator(_one_or_more)] | None = None
    """With emission: the stage behind which the stamp holds, or a list, one for each chain with a device of its own."""
    wrap_s: Annotated[float, Field(gt=0, le=1e6)] | None = 1.0
    """Time after which stamps repeat. [s]"""


class WorkOrder(Record):
    """Who allows the change, when, and how it is taken back."""

    change_window: Text | None = None
    """When the change may be made."""
    permission_reference: Text | None = None
    """The operator's permission for the work."""
    control_room_contact: Text | None = None
    """Whom to call before and after."""
    mutes: Text | None = None
    """Which site is muted by whom while settings disagree."""
    rollback_deadline: Text | None = None
    """By when the old values go back if the new ones are not proven."""
    tolerated_error_us: Annotated[float, Field(gt=0, le=1000)] | None = None
    """Largest launch error that a technician may leave. [us]"""


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
    """Lapse of refractivity in the lowest kilometre. [N-units/km]"""
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
    work_order: WorkOrder | None = None
    """Who allows the change, when, and how it is taken back."""
    stages: tuple[Stage, ...]
    """Every stage, held once."""
    sites: Annotated[tuple[Site, ...], Field(min_length=1, max_length=500)]
    """The transmitters, in the order of the tables."""
    corrections: Annotated[tuple[Correction, ...], Field(max_length=1000)] | None = None
    """Measured launch errors that stages took up; kept by the program, so that none counts twice."""
    notes: Text | None = None
    """Anything a colleague should know."""
    _own_services: str = PrivateAttr(default="")

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
