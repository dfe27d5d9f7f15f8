"""Sites fed off air as pages and the command ``repeaters`` show them: the loop's figures, and what is heard."""

from dataclasses import dataclass
from math import isinf
from typing import Any

from sfn.plan import Network
from sfn.plan.left_out import LeftOut, left_out_document
from sfn.reception.off_air import FedOffAir, Heard, fed_off_air
from sfn.stream.off_air import COMMON_MARGIN_DB, Repeater, greatest_output_dbw, longest_echo_m, ripple_db
from sfn.terrain.ground import Ground


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
    """A site with its loop, and who would be followed if the parent fell silent."""

    found: FedOffAir
    loop: Loop | None
    next: Heard | None


def off_air_sites(network: Network, *, ground: Ground | None = None) -> tuple[OffAirSite, ...]:
    """Every site fed off air that can be read, with all that follows from what it hears; arguments as `fed_off_air`.

    Raises
    ------
    PlanError
        If the service is not known.
    """
    made = []
    for found in fed_off_air(network, ground=ground):
        others = [h for h in found.heard if h.site != found.site.fed_off_air_from]
        loop = None if found.repeater is None else _loop(found.repeater, found)
        made.append(OffAirSite(found, loop, others[0] if others else None))
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


def document(sites: tuple[OffAirSite, ...], left_out: tuple[LeftOut, ...] = ()) -> dict[str, Any]:
    """The JSON document of ``repeaters --json``; null where something is missing, and `missing` says what."""
    return {
        "left_out_sites": left_out_document(left_out),
        "sites": [_site(one) for one in sites],
        "problems": [p.as_json() for one in sites for p in one.found.problems],
    }


def _site(one: OffAirSite) -> dict[str, Any]:
    """One site."""
    found, loop = one.found, one.loop
    parent = found.parent
    return {
        "id": found.site.id,
        "parent": found.site.fed_off_air_from,
        "receiving_height_m": found.height_m,
        "receiving_antenna": found.antenna,
        "smooth_earth": found.smooth,
        "processing_us": found.processing_us,
        "received_dbuvm": found.repeater.received_dbuvm if found.repeater else None,
        "received_typed": found.received_typed,
        "missing": list(found.missing),
        "input_dbw": loop.input_dbw if loop else None,
        "output_dbw": loop.output_dbw if loop else None,
        "gain_db": loop.gain_db if loop else None,
        "isolation_db": loop.isolation_db if loop else None,
        "isolation_estimated": found.isolation_estimated,
        "needed_isolation_db": loop.needed_isolation_db if loop else None,
        "cancelled_db": loop.cancelled_db if loop else None,
        "margin_db": loop.margin_db if loop else None,
        "ripple_db": None if loop is None or isinf(loop.ripple_db) else loop.ripple_db,
        "allowed": [
            {"margin_db": m, "output_dbw": out, "erp_kw": erp} for m, out, erp in (loop.allowed if loop else ())
        ],
        "reflector_m": loop.reflector_m if loop else None,
        "parent_margin_db": None if parent is None or isinf(parent.margin_db) else parent.margin_db,
        "parent_margin_from": None if parent is None else "measured" if found.received_typed else "predicted",
        "wrong_parent": None if parent is None else parent.wrong,
        "heard": [_heard(h) for h in found.heard],
    }


def _heard(heard: Heard) -> dict[str, Any]:
    """One site at the receiving antenna; differences null where the parent is not heard."""
    known = heard.difference_db == heard.difference_db
    return {
        "site": heard.site,
        "ground_m": heard.ground_m,
        "bearing_deg": heard.bearing_deg,
        "off_axis_deg": heard.off_axis_deg,
        "level_dbuvm": heard.level_dbuvm,
        "level_1pct_dbuvm": heard.level_1pct_dbuvm,
        "discrimination_db": heard.discrimination_db,
        "difference_db": heard.difference_db if known else None,
        "difference_1pct_db": heard.difference_1pct_db if known else None,
        "launch_error_us": heard.launch_error_us if known else None,
    }
