"""Sites that the delay table cannot work out, and whose fault it is: they do not take the others down."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sfn.errors import Problem, Touch
from sfn.geodesy.position import Located
from sfn.plan import DelayField, Network, Site
from sfn.timing.device import UNKNOWN


@dataclass(frozen=True, slots=True)
class Missing:
    """A site without a row. `whose` is the id of the site whose fault it is: itself, or one that feeds it.

    `said` is whether the problem stands elsewhere already, with the position that cannot be read.
    """

    site_id: str
    site_name: str
    whose: str
    problem: Problem
    said: bool = False


def units_known(field: DelayField) -> bool:
    """Whether a field's unit was read off the device."""
    return field.unit != UNKNOWN


def missing_unit(index: int, site: Site) -> Missing | None:
    """A site with a field whose unit nobody knows; `index` is its place in the document."""
    unknown = [(j, field.name) for j, field in enumerate(site.delay_fields) if not units_known(field)]
    if not unknown:
        return None
    names = tuple(name for _, name in unknown)
    problem = Problem(
        f"sites[{index}].delay_fields[{unknown[0][0]}].unit",
        f"site {site.name}: the unit of {', '.join(names)} is not known, so no setting can be worked out",
        "the unit as the device's own manual has it: us, ms, 100ns, samples@48000, ...",
        code="device-unit-unknown",
        touches=(Touch(site.id),),
        fields=names,
    )
    return Missing(site.id, site.name, site.id, problem)


def missing_feed(
    index: int, site: Site, parent: Site | None, placed: Mapping[str, Located], missing: Mapping[str, Missing]
) -> Missing | None:
    """A site fed off air whose parent is missing, or whose path from it is unknown."""
    if parent is None:
        return None
    cause: Problem | None = None
    where, expected = f"sites[{index}].fed_off_air_from", "what is wrong there corrected; its launch counts from there"
    if parent.id in missing:
        whose, cause = missing[parent.id].whose, missing[parent.id].problem
        what = f"site {site.name}: has no delay, since {parent.name}, which feeds it, has none: {cause.what}"
    elif parent.id not in placed:
        what = f"site {site.name}: has no delay, since the position of {parent.name}, which feeds it, cannot be read"
        whose = parent.id
    elif site.id not in placed:
        what = f"site {site.name}: has no delay, since its position cannot be read: how far it is from {parent.name}?"
        where, expected, whose = f"sites[{index}].position", "a position that can be read", site.id
    else:
        return None
    own = whose == site.id
    problem = Problem(
        where,
        what,
        expected,
        code="position-unreadable" if own else "parent-missing",
        touches=(Touch(site.id),),
        values={"whose": whose},
        said={"parent_site": parent.id, "cause": cause},
    )
    return Missing(site.id, site.name, whose, problem, said=own)


def missing_sites(network: Network, order: Iterable[Site], placed: Mapping[str, Located]) -> dict[str, Missing]:
    """Every site that can have no row, by id; `order` has parents before the sites that receive them."""
    sites = {site.id: site for site in network.sites}
    index = {site.id: i for i, site in enumerate(network.sites)}
    missing: dict[str, Missing] = {}
    for site in order:
        parent = sites[site.fed_off_air_from] if site.fed_off_air_from else None
        gone = missing_unit(index[site.id], site) or missing_feed(index[site.id], site, parent, placed, missing)
        if gone is not None:
            missing[site.id] = gone
    return missing
