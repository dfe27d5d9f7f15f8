"""The present state of every delay field: the latest report by what held, whatever revision came after.

A revision says what is planned. What a document says of "set now" counts only where nobody ever reported a field, and
where it says otherwise than the latest report, that is said beside it.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from sfn.errors import Problem, Touch
from sfn.plan import Chain, DelayField, Network, Site
from sfn.plan.reported import Key, Reported, Source, Stood
from sfn.timeline.held import Held
from sfn.units import unit_said, written


@dataclass(frozen=True, slots=True)
class FieldReport:
    """What a field was reported to stand at, in its unit of then; None: from then on nobody knows."""

    value: float | None
    unit: str


@dataclass(frozen=True, slots=True)
class Report:
    """What was found set at a site at one time. Without fields and `replaced`: all its fields are unknown since."""

    site_id: str
    route: str
    fields: Mapping[str, FieldReport]
    held: Held
    arrived_at: datetime
    who: str
    source: Source = "read"
    entry: str = ""


@dataclass(slots=True)
class Gathered:
    """What reports say of the fields of a document, taken further as more arrive: the plain way is a new one for all.

    Parameters
    ----------
    network : Network
        As it was saved.
    """

    network: Network
    reports: dict[Key, list[Stood]] = field(default_factory=dict)
    unlike: list[tuple[Site, DelayField, Report]] = field(default_factory=list)

    def take(self, reports: Iterable[Report]) -> "Gathered":
        """Gather more reports, in any order; those of another site than the document's say nothing."""
        sites = {site.id: site for site in self.network.sites}
        touched: dict[Key, None] = {}
        for report in reports:
            site = sites.get(report.site_id)
            if site is not None:
                touched |= _take(self, site, report)
        for key in touched:  # stable: of two with one order the one that was taken later is the later
            self.reports[key].sort(key=_order)
        return self


def key_of(site: Site, route: str, name: str) -> Key:
    """Under what a field's setting on a route is kept: the route's own, or the one for all."""
    own = next((chain.set for chain in site.chains if chain.route == route), None)
    return (site.id, route if own is not None and name in own else "", name)


def reported_of(network: Network, reports: Iterable[Report]) -> Reported:
    """What every report says of the fields of a document.

    Parameters
    ----------
    network : Network
        As it was saved.
    reports : iterable of Report
        In any order. One in another unit than the field has now says nothing of it, which is told where it would be
        the latest; so does one of a route or field that is gone.
    """
    return reported_by(Gathered(network).take(reports))


def reported_by(found: Gathered) -> Reported:
    """What was gathered so far says of the fields of its document."""
    network, held = found.network, {key: tuple(stood) for key, stood in found.reports.items()}
    reported = Reported(held)
    planned = {
        key: was
        for site in network.sites
        for key, was in _planned(site)
        if key in held and not _same(was, held[key][-1].value)
    }
    problems = (
        *_contradicted(network, held, planned),
        *_unsure(network, reported),
        *_told(network, held),
        *_unlike(network, found, held),
    )
    return Reported(held, planned, problems)


def as_it_stands(
    network: Network,
    reports: Iterable[Report] | Reported,
    *,
    proofs: Mapping[str, datetime] | None = None,
    issued: Mapping[tuple[str, str], Mapping[str, float]] | None = None,
) -> Network:
    """A document with every field set to what the latest report says, its checksum as before.

    Everything that asks what is set now, and what to go back to, reads it from there.

    Parameters
    ----------
    network : Network
    reports : iterable of Report, or Reported
        Or what `reported_by` made of them, for a document equal to this one.
    proofs : mapping of str to datetime, optional
        When lock was last proven, by site; None where no such record is kept, so that nothing is asked.
    issued : mapping of (site id, route) to mapping of field name to float, optional
        What the issued sheets of this revision ask for, in each field's own unit.
    """
    said = reports if isinstance(reports, Reported) else reported_of(network, reports)
    reported = replace(said, proofs=proofs, issued=issued or {})
    if not (reported.reports or reported.problems or issued) and proofs is None:
        return network
    moved = {key[0] for key in reported.planned}
    sites = tuple(_set(site, reported) if site.id in moved else site for site in network.sites)
    return network.model_copy(update={"sites": sites}).beside(reported)


def _order(one: Stood) -> tuple[datetime, datetime]:
    """Where it stands among others of its field."""
    return (one.held_at, one.arrived_at)


def _take(found: Gathered, site: Site, report: Report) -> dict[Key, None]:
    """One report's fields, and which they are; a replaced device forgets them all."""
    every = {own.name: own for own in site.delay_fields}
    routes = {chain.route: chain for chain in site.chains}
    stood: dict[Key, float | None] = {}
    if report.source == "replaced":
        stood = {key: None for key, _ in _planned(site)}
    for name, said in report.fields.items():
        own = every.get(name)
        if own is None or report.route not in routes:
            continue
        if said.unit != own.unit:
            found.unlike.append((site, own, report))
            continue
        stood[key_of(site, report.route, name)] = said.value
    for key, value in stood.items():
        one = Stood(
            value, report.held.at, report.held.earliest, report.held.latest, report.arrived_at, report.who,
            report.source, report.entry,
        )  # fmt: skip
        found.reports.setdefault(key, []).append(one)
    return dict.fromkeys(stood)


def _planned(site: Site) -> Iterator[tuple[Key, float | None]]:
    """What the document says is set now: of every field, and of every route with a setting of its own."""
    for own in site.delay_fields:
        yield (site.id, "", own.name), own.set
    for chain in site.chains:
        for name, value in (chain.set or {}).items():
            yield (site.id, chain.route, name), value


def _set(site: Site, reported: Reported) -> Site:
    """A site with its fields as reported."""

    def of_chain(chain: Chain) -> Chain:
        """A route's own settings."""
        if chain.set is None:
            return chain
        now = {name: reported.now((site.id, chain.route, name)) for name in chain.set}
        own = {
            name: value if (one := now[name]) is None else one.value
            for name, value in chain.set.items()
        }  # fmt: skip
        return chain.model_copy(update={"set": own})

    fields = tuple(
        own if (one := reported.now((site.id, "", own.name))) is None else own.model_copy(update={"set": one.value})
        for own in site.delay_fields
    )
    return site.model_copy(update={"delay_fields": fields, "chains": tuple(map(of_chain, site.chains))})


def _contradicted(
    network: Network, held: Mapping[Key, tuple[Stood, ...]], planned: Mapping[Key, float | None]
) -> Iterator[Problem]:
    """Where the document says otherwise than the latest report."""
    for site, n, own, key in _fields(network):
        if key not in planned:
            continue
        latest, was = held[key][-1], planned[key]
        said = "the device was replaced, and nobody has read the new one" if latest.value is None else (
            f"{_amount(latest.value, own)} was {_by(latest)}"
        )  # fmt: skip
        what = (
            f"site {site.name}: the plan says that {own.name} is set to {_amount(was, own)} now; {said}, which counts"
        )
        yield Problem(
            f"sites[{n}].delay_fields", what, "what was reported taken over into the plan, or read once more",
            "warning", code="plan-old-value-contradicted", touches=_touches(key), fields=(own.name,),
            values={"plan": was, "reported": latest.value},
            said=_said("plan", was, own) | _said("reported", latest.value, own) | _who("reported", latest)
            | {"replaced": "yes" if latest.value is None else None},
        )  # fmt: skip


def _unsure(network: Network, reported: Reported) -> Iterator[Problem]:
    """Where another report may have been the latest, and says otherwise."""
    for site, n, own, key in _fields(network):
        latest = reported.now(key)
        rivals = [earlier for later, earlier in reported.rivals(key) if later is latest]
        if latest is None or not rivals:
            continue
        other = rivals[-1]
        what = (
            f"site {site.name}: two reports of {own.name} may have held in either order: {_amount(latest.value, own)},"
            f" {_by(latest)}, and {_amount(other.value, own)}, {_by(other)}"
        )
        yield Problem(
            f"sites[{n}].delay_fields", what, "one more reading of it", "warning", code="reports-contradict",
            touches=_touches(key), fields=(own.name,), values={"later": latest.value, "other": other.value},
            said=_said("later", latest.value, own) | _who("later", latest) | _said("other", other.value, own)
            | _who("other", other),
        )  # fmt: skip


def _told(network: Network, held: Mapping[Key, tuple[Stood, ...]]) -> Iterator[Problem]:
    """Where what the office was told stands against what was read at the site before."""
    for site, n, own, key in _fields(network):
        stood = held.get(key, ())
        if (
            len(stood) < 2
            or (stood[-1].source, stood[-2].source) != ("told", "read")
            or stood[-1].value == stood[-2].value
        ):
            continue
        latest, read = stood[-1], stood[-2]
        what = (
            f"site {site.name}: {own.name} counts as set to {_amount(latest.value, own)}, {_by(latest)};"
            f" {_amount(read.value, own)} was {_by(read)}"
        )
        yield Problem(
            f"sites[{n}].delay_fields", what, "a reading of it at the site", "warning", code="told-against-reading",
            touches=_touches(key), fields=(own.name,), values={"told": latest.value, "read": read.value},
            said=_said("told", latest.value, own) | _who("told", latest) | _said("read", read.value, own)
            | _who("read", read),
        )  # fmt: skip


def _unlike(network: Network, found: Gathered, held: Mapping[Key, tuple[Stood, ...]]) -> Iterator[Problem]:
    """Reports that would be the latest, in a unit that the field no longer has."""
    index = {site.id: n for n, site in enumerate(network.sites)}
    for site, own, report in found.unlike:
        key = key_of(site, report.route, own.name)
        if key in held and held[key][-1].held_at >= report.held.at:
            continue
        said = report.fields[own.name]
        value = "unknown" if said.value is None else written(said.value)
        what = (
            f"site {site.name}: {own.name} was reported to stand at {value} {unit_said(said.unit)} on"
            f" {report.held.at:%Y-%m-%d %H:%M} UTC by {report.who}, and now counts in {unit_said(own.unit)}: that"
            " reading says nothing of it"
        )
        yield Problem(
            f"sites[{index[site.id]}].delay_fields", what, "what it is set to now, read off the device", "warning",
            code="report-in-other-unit", touches=_touches(key), fields=(own.name,), values={"reported": said.value},
            said={"reported_text": written(said.value) if said.value is not None else None, "was_unit": said.unit,
                  "now_unit": own.unit, "at": f"{report.held.at:%Y-%m-%d %H:%M}", "who": report.who},
        )  # fmt: skip


def _fields(network: Network) -> Iterator[tuple[Site, int, DelayField, Key]]:
    """Every setting of every site, with its site's place in the document."""
    for n, site in enumerate(network.sites):
        named = {own.name: own for own in site.delay_fields}
        for key, _ in _planned(site):
            if key[2] in named:
                yield site, n, named[key[2]], key


def _touches(key: Key) -> tuple[Touch, ...]:
    """The site, and the route where it has a setting of its own."""
    return (Touch(key[0], key[1] or None),)


def _by(one: Stood) -> str:
    """Who reported it when."""
    how = {"read": "read there", "told": "told to the office", "replaced": "reported with a new device"}[one.source]
    return f"{how} on {one.held_at:%Y-%m-%d %H:%M} UTC by {one.who}"


def _said(name: str, value: float | None, own: DelayField) -> dict[str, float | str | Problem | None]:
    """What `_amount` says, in parts: the number and its unit, or that nobody knows it."""
    return {f"{name}_amount": "nobody-knows" if value is None else f"{written(value)}\t{own.unit}"}


def _who(name: str, one: Stood) -> dict[str, float | str | Problem | None]:
    """What `_by` says, in parts."""
    return {f"{name}_how_keys": one.source, f"{name}_at": f"{one.held_at:%Y-%m-%d %H:%M}", f"{name}_who": one.who}


def _amount(value: float | None, own: DelayField) -> str:
    """A setting in its unit."""
    return "a value that nobody knows" if value is None else f"{written(value)} {unit_said(own.unit)}"


def _same(one: float | None, other: float | None) -> bool:
    """Whether two settings are one: as typed, not as computed."""
    return one == other
