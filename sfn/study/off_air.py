"""Sites fed off air as pages and the command ``repeaters`` show them: the loop's figures, and what is heard."""

from dataclasses import dataclass

from sfn.field.over_smooth import smooth_says
from sfn.plan import Network
from sfn.reception.off_air import FedOffAir, Heard, fed_off_air
from sfn.stream.off_air import COMMON_MARGIN_DB, Repeater, greatest_output_dbw, longest_echo_m, ripple_db
from sfn.terrain.ground import Ground
from sfn.timing.readable import readable


@dataclass(frozen=True, slots=True)
class Loop:
    """A repeater's loop, every term of it.

    `ripple_db` is infinite where it oscillates; `allowed` holds margin [dB], most output [dBW] and most e.r.p. [kW];
    `reflector_m` is how far away a reflector may stand for its echo to lie inside the canceller's window.
    """

    input_dbw: float
    output_dbw: float
    gain_db: float
    isolation_db: float
    needed_isolation_db: float
    cancelled_db: float
    margin_db: float
    ripple_db: float
    allowed: tuple[tuple[float, float, float], ...]
    reflector_m: float


@dataclass(frozen=True, slots=True)
class OffAirSite:
    """A site with its loop, and who would be followed if the parent stopped transmitting."""

    found: FedOffAir
    loop: Loop | None
    next: Heard | None
    smooth_says: str = ""
    """Where the plain lies that levels are worked out over; empty where a terrain is named."""


def off_air_sites(network: Network, *, ground: Ground | None = None) -> tuple[OffAirSite, ...]:
    """Every site fed off air that can be read, with all that follows from what it hears; arguments as `fed_off_air`.

    Raises
    ------
    PlanError
        If the service is not known.
    """
    fed = fed_off_air(network, ground=ground)
    if not fed:
        return ()
    made, lies = [], smooth_says(readable(network))
    for found in fed:
        others = [h for h in found.heard if h.site != found.site.fed_off_air_from]
        loop = None if found.repeater is None else _loop(found.repeater, found)
        made.append(OffAirSite(found, loop, others[0] if others else None, lies))
    return tuple(made)


def _loop(repeater: Repeater, found: FedOffAir) -> Loop:
    """The loop's terms, and what it allows at the wanted margin and at those of common practice."""
    gain_db, wanted_db = repeater.gain_db, found.given.margin_db
    gain_dbd = found.given.transmitting_gain_dbd or 0.0
    margins = sorted({wanted_db, *COMMON_MARGIN_DB})
    allowed = [(m, greatest_output_dbw(repeater, margin_db=m)) for m in margins]
    return Loop(
        repeater.input_dbw,
        repeater.output_dbw,
        gain_db,
        repeater.isolation_db,
        gain_db + wanted_db - repeater.cancelled_db,
        repeater.cancelled_db,
        repeater.margin_db,
        ripple_db(repeater.margin_db),
        tuple((m, out, 10 ** ((out + gain_dbd - 30) / 10)) for m, out in allowed),
        longest_echo_m(repeater.window_us) / 2,
    )
