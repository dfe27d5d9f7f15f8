"""Which levers a search for plans varies at which sites, with their values; what it cannot vary, and why."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from sfn.plan import Antenna, Network, Site
from sfn.plan.may_change import ChangeCosts, SiteChanges
from sfn.solve.options import Choice, Options
from sfn.study.lever_try import ALL_ROUND, Lever, has_tables, levered

KINDS = ("offset", "power", "azimuth", "tilt", "pattern", "on-off")
"""What may be asked for."""
FIELDS = {
    "power": ("power_db",),
    "azimuth": ("azimuth_deg",),
    "tilt": ("electrical_tilt_deg", "mechanical_tilt_deg"),
    "pattern": ("pattern",),
    "on-off": ("on_air",),
}
"""The fields of a site that each varies."""
ON_THE_MAST = ("azimuth_deg", "electrical_tilt_deg", "mechanical_tilt_deg", "pattern")
Value = float | str | bool | None


@dataclass(frozen=True, slots=True)
class SiteLevers:
    """What is varied at one site: fields, and the values of each, the first None: as planned."""

    site: Site
    fields: tuple[str, ...] = ()
    values: tuple[tuple[Value, ...], ...] = ()

    def chosen(self, choice: Choice) -> dict[str, Value]:
        """The fields that a choice changes, with their values."""
        return {name: values[k] for name, values, k in zip(self.fields, self.values, choice, strict=True) if k}

    def lever(self, choice: Choice) -> Lever:
        """What is radiated otherwise, as a try has it."""
        return Lever(**{name: value for name, value in self.chosen(choice).items() if name != "on_air"})  # type: ignore[arg-type]

    def on_air(self, choice: Choice) -> bool:
        """Whether it radiates."""
        return bool(self.chosen(choice).get("on_air", self.site.on_air))


@dataclass(frozen=True, slots=True)
class NotVaried:
    """A lever that was asked for and cannot be varied at a site: what, a code, and why in words."""

    site: str
    what: str
    code: str
    why: str


def site_levers(
    network: Network,
    vary: Collection[str],
    *,
    held: Collection[str],
    general: SiteChanges,
    waiting: Collection[str] = (),
) -> tuple[tuple[SiteLevers, ...], tuple[NotVaried, ...]]:
    """What is varied at every site, in their order, and what is not.

    Parameters
    ----------
    network : Network
        Its `may_change` says what may change where.
    vary : collection of str
        Of `KINDS`.
    held : collection of str
        Sites to leave alone.
    general : SiteChanges
        For whatever the document has no bounds for; its `sites` are not looked at.
    waiting : collection of str
        Relays that the document has on air behind a parent that is not; here they are not transmitting.
    """
    made: list[SiteLevers] = []
    left: list[NotVaried] = []
    for gone in network.left_out:
        why = f"{gone.site_name} cannot be read: {'; '.join(problem.what for problem in gone.problems)}"
        left.append(NotVaried(gone.site_id, "everything", "site-left-out", why))
    for site in network.sites:
        line, fields, values = _line(network, site), [], []
        for kind in (one for one in KINDS if one in vary and one != "offset"):
            found: dict[str, tuple[Value, ...]] = {}
            code, why = _closed(network, site, kind, line, general, held, waiting)
            if not code:
                found = {name: _values(site, name, line, general) for name in FIELDS[kind]}
                found = {name: listed for name, listed in found.items() if listed}
                code, why = ("", "") if found else _nothing(kind, line, general)
            if code:
                left.append(NotVaried(site.id, kind, code, why))
            fields += list(found)
            values += [(None, *listed) for listed in found.values()]
        if "offset" in vary and (site.offset_held or site.id in held or not site.delay_fields):
            left.append(NotVaried(site.id, "offset", *_offset_closed(site)))
        made.append(SiteLevers(site, tuple(fields), tuple(values)))
    return tuple(made), tuple(left)


def _line(network: Network, site: Site) -> SiteChanges:
    """What the document says of a site."""
    lines = network.may_change.lines if network.may_change else ()
    named = next((one for one in lines if one.sites and site.id in one.sites), None)
    return named or next((one for one in lines if one.sites is None), SiteChanges())


def _offset_closed(site: Site) -> tuple[str, str]:
    """Why an offset stays."""
    if not site.delay_fields:
        return "no-delay-field", "it has no delay field"
    return "offset-held", "its offset is held"


def _closed(
    network: Network, site: Site, kind: str, line: SiteChanges, general: SiteChanges, held: Collection[str],
    waiting: Collection[str],
) -> tuple[str, str]:  # fmt: skip
    """A code and why a kind of lever cannot be varied at a site; empty where it can."""
    names = {one.id: one.name for one in network.sites}
    if site.id in held:
        return "site-held", "it is held for this search"
    if kind == "on-off":
        fed = [
            one.name for one in network.sites if one.fed_off_air_from == site.id and (one.on_air or one.id in waiting)
        ]
        if fed:
            names_fed = ", ".join(map(format, fed))
            with_it = (
                "would stop transmitting with it" if site.on_air else "would come on air with it, which is not searched"
            )
            return "feeds-others", f"{names_fed} {with_it}"
        parent = next((one for one in network.sites if one.id == site.fed_off_air_from), None)
        if parent is not None and not parent.on_air:
            return "parent-silent", f"{names[parent.id]}, which feeds it off air, is not transmitting"
        return "", ""
    if not site.on_air and not (line.on_air or general.on_air):
        return "not-on-air", "it is not transmitting"
    if not max(site.erp_kw.h, site.erp_kw.v) > 0.0:
        return "nothing-radiated", "it has no e.r.p. in the plan"
    tables = [site.antenna, *_other_antennas(network, line, general)] if kind != "power" else []
    if kind == "azimuth" and not any(map(_horizontal, tables)):
        return "no-horizontal-pattern", "it has no horizontal pattern, so that turning it does nothing"
    if kind == "tilt" and not any(map(_vertical, tables)):
        return "no-vertical-pattern", "it has no vertical pattern, so that tilting it does nothing"
    return "", ""


def _other_antennas(network: Network, line: SiteChanges, general: SiteChanges) -> list[Antenna | None]:
    """Antennas whose pattern may be taken."""
    wanted = line.patterns or general.patterns or ()
    return [site.antenna for site in network.sites if site.id in wanted]


def _horizontal(antenna: Antenna | None) -> bool:
    """Whether an antenna has a horizontal pattern in any plane."""
    return antenna is not None and bool(
        antenna.horizontal or (antenna.vertical_plane and antenna.vertical_plane.horizontal)
    )


def _vertical(antenna: Antenna | None) -> bool:
    """Whether an antenna has a vertical pattern in any plane."""
    return antenna is not None and bool(
        antenna.vertical or (antenna.vertical_plane and antenna.vertical_plane.vertical)
    )


def _nothing(kind: str, line: SiteChanges, general: SiteChanges) -> tuple[str, str]:
    """Why a kind that is open has no value to try."""
    given = any(getattr(one, name) for one in (line, general) for name in _keys(kind))
    if given:
        return "only-as-planned", "its bounds hold nothing but what is planned"
    return "no-bounds", "no bounds are given for it, in the document or with the search"


def _keys(kind: str) -> tuple[str, ...]:
    """Keys of a line that give a kind's values."""
    return ("patterns",) if kind == "pattern" else FIELDS[kind]


def _values(site: Site, name: str, line: SiteChanges, general: SiteChanges) -> tuple[Value, ...]:
    """Values of one field besides the one as planned."""
    antenna = site.antenna or Antenna()
    if name == "on_air":
        return (not site.on_air,) if line.on_air or general.on_air else ()
    if name == "pattern":
        own = {site.id} if has_tables(antenna) else {ALL_ROUND, site.id}
        return tuple(one for one in dict.fromkeys(line.patterns or general.patterns or ()) if one not in own)
    steps = getattr(line, name) or getattr(general, name)
    if steps is None:
        return ()
    if name == "azimuth_deg":
        turned = dict.fromkeys(round(value % 360.0, 9) for value in steps.values)
        return tuple(value for value in turned if value != antenna.azimuth_deg % 360.0)
    planned = 0.0 if name == "power_db" else getattr(antenna, name)
    return tuple(value for value in steps.values if value != planned)


def costs_of(network: Network, given: ChangeCosts | None) -> tuple[ChangeCosts, bool]:
    """What changes cost, and whether nobody said so."""
    told = given or (network.may_change.costs if network.may_change else None)
    return told or ChangeCosts(), told is None


def site_cost(site: Site, changed: Collection[str], *, moved: bool, costs: ChangeCosts) -> float:
    """What a site's changes cost together: a day on the mast or a visit, and a licence's change.

    Parameters
    ----------
    site : Site
    changed : collection of str
        Fields, as of `SiteLevers`.
    moved : bool
        Whether its delay is set otherwise; from a distance where it can be, without a visit.
    costs : ChangeCosts
    """
    by_hand = costs.visit if changed or (moved and not site.remote) else 0.0
    work = costs.rigging_day if any(name in ON_THE_MAST for name in changed) else by_hand
    return work + (costs.licence_change if changed else 0.0)


def options_of(levers: Sequence[SiteLevers], *, costs: ChangeCosts, licensed: Callable[[int, Choice], bool]) -> Options:
    """The same as the search takes it."""

    def allowed(i: int, choice: Choice) -> bool:
        """A site not transmitting has no other change, and licences hold."""
        changed = levers[i].chosen(choice)
        if not levers[i].on_air(choice):
            return list(changed) == ["on_air"]
        return licensed(i, choice)

    def cost(i: int, choice: Choice, moved: bool) -> float:
        """In the unit of the costs."""
        return site_cost(levers[i].site, levers[i].chosen(choice), moved=moved, costs=costs)

    counts = tuple(tuple(map(len, one.values)) for one in levers)
    return Options(tuple(one.fields for one in levers), counts, allowed, cost)


def as_changed(
    network: Network, levers: Sequence[SiteLevers], chosen: Sequence[Choice], offsets_us: Mapping[str, float]
) -> Network:
    """The network as a document would have it with a plan."""
    sites = []
    for site, one, choice in zip(network.sites, levers, chosen, strict=True):
        new = {"on_air": one.on_air(choice), "offset_us": offsets_us[site.id]}
        changed = levered(site, one.lever(choice), network)
        sites.append(changed.model_copy(update=new) if any(getattr(site, k) != v for k, v in new.items()) else changed)
    return network.model_copy(update={"sites": tuple(sites)})


def pattern_doubts(network: Network, general: SiteChanges) -> Iterator[tuple[str, str]]:
    """Patterns that no site has: the name, and what is wrong."""
    sites = {site.id: site for site in network.sites}
    for name in general.patterns or ():
        if name == ALL_ROUND:
            continue
        if name not in sites:
            yield name, f"there is no site {name!r}"
        elif not has_tables(sites[name].antenna):
            yield name, f"site {sites[name].name} has no pattern"
