"""Services by name: what a broadcast system and mode tolerates, with the source of each figure.

| symbol | name | meaning |
|---|---|---|
| Tu | `useful_us` | useful part of an OFDM symbol |
| Tg | `guard_us` | guard interval |
| Tp | `equalisation_us` | width that the equaliser follows fully; None: no limit |
| | `equalisation_limit_us` | width beyond which it follows nothing |
| C/N | `required_cn_db` | required ratio |
| F | `noise_figure_db` | of the receiver |

Ids of generated services are FAMILY-TRANSFORM-GUARD[-PILOTS[-miso]]-CHANNEL[-MODULATION], as in
``dvb-t-8k-1/4-8mhz`` and ``dvb-t2-32k-19/128-pp2-8mhz-256qam-2/3``.
"""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from sfn.errors import PlanError
from sfn.systems.mode_table import Channel, Family, Guard, Kind, Planning, ServiceEntry, Status, own, shipped
from sfn.systems.unknown_service import unknown_service

# A delay step is questioned above this part of the guard interval: the rule second-hand from TR 101 190.
STEP_OF_GUARD = Fraction(1, 20)

# Outside the guard interval a signal counts from this far below "wanted less required C/N": predictions err by 6 dB.
SIGNIFICANCE_MARGIN_DB = 6.0

# Two equal paths over a Rayleigh channel: the geometric mean over carriers is 3.01 dB under the mean power for the
# first and 2.51 dB for the second (Jensen's formula, Euler's constant); that is what a good code loses at high C/N.
ECHO_OVER_RAYLEIGH_DB = 0.5
# Where an entry gives no limit of its equaliser: full width over limit, as for DVB-T.
FULL_OF_LIMIT = Fraction(7, 8)


@dataclass(frozen=True, slots=True)
class Service:
    """One broadcast system in one mode.

    Parameters
    ----------
    id, family, name : str
        As a network names it; the family it was made from (or its own id); for people.
    kind : {'ofdm', 'fm', 'vsb'}
        How its reception is worked out.
    channel_mhz, noise_bandwidth_mhz : float
        Channel width and the width that noise comes through. [MHz]
    noise_figure_db, man_made_noise_db : float
        Of the receiver; man-made noise above the receiver's own. [dB]
    reference_frequency_mhz, antenna_gain_dbd, feeder_loss_db : float
        What the noise field and the minimum field hold for. [MHz, dBd, dB]
    required_cn_db : float or None
        Required C/N as planned with; None where reception is not judged by it. [dB]
    required_cn_rice_db, required_cn_rayleigh_db, required_cn_echo_db : float or None
        What the profile of arrivals makes of it: one signal, many, two equal ones. [dB]
    minimum_median_dbuvm : float
        Usable from this median field at the receiver, at the reference frequency. [dBuV/m]
    location_sigma_db, location_pct : float
        Spread over places and the share of them to be served. [dB, %]
    receiver : {'fixed', 'portable', 'mobile'}
        Reception that these figures hold for.
    useful_us, guard_us, equalisation_us, equalisation_limit_us : float or None
        Tu, Tg and Tp of OFDM, and the spread beyond which nothing is equalised. None: no limit. [us]
    differential : bool
        Differential demodulation: the weighting function has no equalisation limit.
    tolerance_us : float
        Width of the band drawn on arrival rows: from the first signal for OFDM, to either side else. [us]
    coarse_step_us : float
        A finest delay step above this is questioned. [us]
    significant_db : float
        FM, VSB: signals within this of the strongest are significant. OFDM: outside the guard
        interval, those within this of the wanted one (required C/N plus margin). [dB]
    echo_mask : tuple of (float, float)
        VSB: delay against the least desired-to-undesired ratio. [us, dB]
    bands_mhz : tuple of (float, float)
        Bands that the service is broadcast in; empty where none is given. [MHz]
    document, status, note, unjudged : str
        Document and table, how it is known (read, secondary, from memory), what to beware of; and what of the same
        transmitter its reception says nothing about, which stands beside every class and margin.
    *_source : str
        Where each planning figure comes from.
    """

    id: str
    family: str
    name: str
    kind: Kind
    document: str
    status: Status
    channel_mhz: float
    noise_bandwidth_mhz: float
    noise_figure_db: float
    noise_figure_source: str
    man_made_noise_db: float
    reference_frequency_mhz: float
    antenna_gain_dbd: float
    feeder_loss_db: float
    required_cn_db: float | None
    required_cn_source: str
    minimum_median_dbuvm: float
    minimum_median_source: str
    location_sigma_db: float
    location_sigma_source: str
    location_pct: float
    receiver: str
    tolerance_us: float
    tolerance_source: str
    coarse_step_us: float
    significant_db: float
    useful_us: float | None = None
    guard_us: float | None = None
    equalisation_us: float | None = None
    equalisation_limit_us: float | None = None
    equalisation_source: str = ""
    required_cn_rice_db: float | None = None
    required_cn_rayleigh_db: float | None = None
    required_cn_echo_db: float | None = None
    required_cn_profile_source: str = ""
    differential: bool = False
    echo_mask: tuple[tuple[float, float], ...] = ()
    note: str = ""
    unjudged: str = ""
    bands_mhz: tuple[tuple[float, float], ...] = ()
    bands_source: str = ""


def service(service_id: str, *, own_services: str = "") -> Service:
    """The service of an id; `sfn.systems.of_network.service_of` gives a network's.

    Parameters
    ----------
    service_id : str
        As ``dvb-t-8k-1/4-8mhz``, or its name; capitals do not matter.
    own_services : str
        Text of a user's TOML file of services beside the shipped ones; its ids win. `read_own` gives it.

    Raises
    ------
    PlanError
        If there is no such service (near names are listed) or the file is unusable.

    Examples
    --------
    >>> service("dvb-t-8k-1/4-8mhz").guard_us
    224.0
    >>> service("dvb-t2-32k-19/128-pp2-8mhz").equalisation_us
    532.0
    """
    if found := _found(service_named(service_id, own_services=own_services), own_services):
        return found
    families = [entry for entry, _ in _entries(own_services) if isinstance(entry, Family)]
    ids = [s.id for s in services(own_services=own_services)]
    raise PlanError([unknown_service(service_id, ids=ids, families=families)])


def service_named(text: str, *, own_services: str = "") -> str:
    """The id of the service that was meant by an id or a name; the text in small letters where it is neither.

    Examples
    --------
    >>> service_named("DAB mode I"), service_named("DVB-T 8k 1/4 8 MHz"), service_named("dvb-t-9k")
    ('dab-mode-1', 'dvb-t-8k-1/4-8mhz', 'dvb-t-9k')
    """
    plain, joined = text.strip().lower(), _joined(text)
    # shipped ones first: a file that cannot be read stands in nobody's way who wants one of these
    tried = ((name, file) for file in ("", own_services) for name in (plain, joined, *_called(joined, file)))
    return next((name for name, file in tried if _found(name, file)), plain)


def _called(joined: str, own_services: str) -> Iterator[str]:
    """Ids that a name may stand for: of one service, or of a family's member with the family's name before it."""
    for entry, entry_id in _entries(own_services):
        name = _joined(entry.name)
        if joined == name or joined.startswith(f"{name}-"):
            yield entry_id + joined.removeprefix(name)


def _joined(text: str) -> str:
    """A name as ids are written: ``DVB-T 8k 1/4 8 MHz`` -> ``dvb-t-8k-1/4-8mhz``."""
    return re.sub(r"\s+", "-", re.sub(r"(\d)\s+(mhz|k|qam)\b", r"\1\2", text.strip().lower()))


def _found(wanted: str, own_services: str) -> Service | None:
    """The service of an id in small letters."""
    for entry, family in _entries(own_services):
        if isinstance(entry, ServiceEntry):
            if entry.id == wanted:
                return _single(entry)
        elif wanted.startswith(f"{family}-"):
            for made in _members(entry, wanted):
                modulation = wanted.removeprefix(made.id).removeprefix("-")
                if not modulation:
                    return made
                if modulation in entry.modulation_cn.ratios:
                    return _modulated(made, entry, modulation)
    return None


def services(*, own_services: str = "") -> tuple[Service, ...]:
    """All services, in the order of the file, families spread out; see `modulations` for what may follow an id.

    Raises
    ------
    PlanError
        If the user's file is unusable.
    """
    found: dict[str, Service] = {}
    for entry, _ in _entries(own_services):
        for made in [_single(entry)] if isinstance(entry, ServiceEntry) else _members(entry):
            found.setdefault(made.id, made)
    return tuple(found.values())


def modulations(family: str, *, own_services: str = "") -> dict[str, tuple[float, float, float]]:
    """What may follow an id of this family, and its C/N for Gauss, Rice and Rayleigh channels. [dB]"""
    for entry, name in _entries(own_services):
        if isinstance(entry, Family) and name == family:
            return dict(entry.modulation_cn.ratios)
    return {}


def _entries(own_services: str) -> Iterator[tuple[ServiceEntry | Family, str]]:
    """Every entry with its id, the user's first."""
    for file in ([own(own_services)] if own_services else []) + [shipped()]:
        yield from ((entry, entry.id) for entry in file.service)
        yield from ((entry, entry.id) for entry in file.family)


def _single(entry: ServiceEntry) -> Service:
    """The record of an entry that was written out."""
    return _record(
        entry,
        service_id=entry.id,
        family=entry.id,
        name=entry.name,
        channel=(entry.channel_mhz, entry.noise_bandwidth_mhz),
        useful_us=entry.useful_us,
        guard_us=entry.guard_us,
        equalisation_us=entry.equalisation_us,
        equalisation_limit_us=entry.equalisation_limit_us,
        equalisation_source=entry.equalisation_source,
        echo_mask=entry.echo_mask,
    )


def _members(family: Family, wanted: str | None = None) -> Iterator[Service]:
    """Every legal combination of a family, or only those that the wanted id begins with."""
    for transform, guards in family.guard.items():
        for guard_name, guard in guards.items():
            patterns = [(p, False) for p in guard.pilots] + [(p, True) for p in guard.miso] or [("", False)]
            for pattern, miso in patterns:
                for channel_name, channel in family.channel.items():
                    pieces = [p for p in (transform, guard_name, pattern, "miso" * miso, channel_name) if p]
                    if wanted is None or f"{wanted}-".startswith("-".join([family.id, *pieces, ""])):
                        yield _member(family, pieces, transform, guard, channel, pattern, miso=miso)


def _member(
    family: Family, pieces: list[str], transform: str, guard: Guard, channel: Channel, pattern: str, *, miso: bool
) -> Service:
    """One combination of a family."""
    useful_us = family.transform[transform] * channel.sample_us
    guard_us = guard.samples * channel.sample_us
    equalisation_us = _interval(family, family.equalisation, useful_us, pattern, miso=miso)
    limit_us = _interval(family, family.equalisation_limit, useful_us, pattern, miso=miso)
    short = equalisation_us is not None and equalisation_us < guard_us
    if equalisation_us is not None:
        equalisation_us = max(equalisation_us, guard_us)
    note = family.note
    if short:
        note = f"{note} Pilots {pattern} cannot follow echoes as long as this guard interval: not for an SFN.".strip()
    made = _record(
        family,
        service_id="-".join([family.id, *pieces]),
        family=family.id,
        name=f"{family.name} {' '.join(pieces)}",
        channel=(channel.channel_mhz, channel.noise_bandwidth_mhz),
        useful_us=useful_us,
        guard_us=guard_us,
        equalisation_us=equalisation_us,
        equalisation_limit_us=limit_us,
        equalisation_source=family.equalisation_source,
        note=note,
    )
    reference = family.channel[family.reference_channel]
    if channel == reference:
        return made
    wider_db = 10.0 * math.log10(channel.noise_bandwidth_mhz / reference.noise_bandwidth_mhz)
    return _moved(made, wider_db, f"for {reference.channel_mhz:g} MHz, moved by {wider_db:+.1f} dB with the noise")


def _interval(family: Family, written: str | None, useful_us: Fraction, pattern: str, *, miso: bool) -> Fraction | None:
    """An interval such as ``57/64 Tu/Dx``."""
    if not written:
        return None
    ratio, of_what = written.split(" ")
    interval_us = useful_us * Fraction(ratio)
    if of_what.endswith("Dx"):
        # Two channels are told apart by half the pilots: Table 59 allows just half the guard of Table 58.
        interval_us /= family.pilots[pattern][0] * (2 if miso else 1)
    return interval_us


def _moved(made: Service, change_db: float, why: str) -> Service:
    """The service with its minimum field moved, and the reason behind the source."""
    return replace(
        made,
        minimum_median_dbuvm=round(made.minimum_median_dbuvm + change_db, 1),
        minimum_median_source=f"{made.minimum_median_source}; {why}",
    )


def _modulated(made: Service, family: Family, modulation: str) -> Service:
    """A member with the required C/N of a modulation and code rate, Rayleigh as overlap zones are."""
    table = family.modulation_cn
    _, rice_db, rayleigh_db = (ratio + table.implementation_margin_db for ratio in table.ratios[modulation])
    required_cn_db = rayleigh_db
    change_db = required_cn_db - float(made.required_cn_db or 0.0)
    risen = family.required_cn_rice_db is not None and rayleigh_db > rice_db
    named = replace(
        made,
        id=f"{made.id}-{modulation}",
        name=f"{made.name} {modulation}",
        required_cn_db=required_cn_db,
        required_cn_source=f"{modulation}: {table.source}",
        significant_db=required_cn_db + SIGNIFICANCE_MARGIN_DB,
        required_cn_rice_db=rice_db if risen else required_cn_db,
        required_cn_rayleigh_db=rayleigh_db,
        required_cn_echo_db=rayleigh_db + ECHO_OVER_RAYLEIGH_DB if risen else required_cn_db,
    )
    return _moved(named, change_db, f"moved by {change_db:+.1f} dB with the C/N")


def _record(
    entry: Planning,
    *,
    service_id: str,
    family: str,
    name: str,
    channel: tuple[float, float],
    useful_us: Fraction | None,
    guard_us: Fraction | None,
    equalisation_us: Fraction | None,
    equalisation_limit_us: Fraction | None,
    equalisation_source: str | None,
    echo_mask: tuple[tuple[float, float], ...] = (),
    note: str | None = None,
) -> Service:
    """A record from an entry's planning figures and a mode's times."""
    tolerance_us = entry.tolerance_us or guard_us or Fraction(0)
    significant_db = entry.significant_db or (entry.required_cn_db or 0.0) + SIGNIFICANCE_MARGIN_DB
    if equalisation_us is not None and (equalisation_limit_us is None or equalisation_limit_us <= equalisation_us):
        equalisation_limit_us = equalisation_us / FULL_OF_LIMIT
    planned = entry.required_cn_db
    return Service(
        id=service_id,
        family=family,
        name=name,
        kind=entry.kind,
        document=entry.document,
        status=entry.status,
        channel_mhz=channel[0],
        noise_bandwidth_mhz=channel[1],
        noise_figure_db=entry.noise_figure_db,
        noise_figure_source=entry.noise_figure_source,
        man_made_noise_db=entry.man_made_noise_db,
        reference_frequency_mhz=entry.reference_frequency_mhz,
        antenna_gain_dbd=entry.antenna_gain_dbd,
        feeder_loss_db=entry.feeder_loss_db,
        required_cn_db=entry.required_cn_db,
        required_cn_source=entry.required_cn_source or "",
        minimum_median_dbuvm=entry.minimum_median_dbuvm,
        minimum_median_source=entry.minimum_median_source,
        location_sigma_db=entry.location_sigma_db,
        location_sigma_source=entry.location_sigma_source,
        location_pct=entry.location_pct,
        receiver=entry.receiver,
        tolerance_us=float(tolerance_us),
        tolerance_source=entry.tolerance_source or "the guard interval",
        coarse_step_us=float(entry.coarse_step_us or tolerance_us * STEP_OF_GUARD),
        significant_db=significant_db,
        useful_us=None if useful_us is None else float(useful_us),
        guard_us=None if guard_us is None else float(guard_us),
        equalisation_us=None if equalisation_us is None else float(equalisation_us),
        equalisation_limit_us=None if equalisation_limit_us is None else float(equalisation_limit_us),
        equalisation_source=equalisation_source or "",
        required_cn_rice_db=planned if entry.required_cn_rice_db is None else entry.required_cn_rice_db,
        required_cn_rayleigh_db=planned if entry.required_cn_rayleigh_db is None else entry.required_cn_rayleigh_db,
        required_cn_echo_db=planned if entry.required_cn_echo_db is None else entry.required_cn_echo_db,
        required_cn_profile_source=entry.required_cn_profile_source if entry.kind == "ofdm" else "",
        differential=entry.differential,
        echo_mask=echo_mask,
        note=entry.note if note is None else note,
        unjudged=entry.unjudged,
        bands_mhz=entry.bands_mhz,
        bands_source=entry.bands_source,
    )
