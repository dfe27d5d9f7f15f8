"""What listeners hear when a site goes over to another route: how far its launch jumps, and whose launches with it."""

from collections.abc import Mapping, Sequence
from fractions import Fraction

from sfn.chain import MAIN
from sfn.plan import Chain, DelayField, Network, Site
from sfn.timing.device import contributes
from sfn.timing.setting import FieldSetting


def jump(
    chain: Chain,
    fields: Sequence[DelayField],
    *,
    later_by: Fraction,
    main: Sequence[FieldSetting],
    own: Sequence[FieldSetting],
) -> Fraction:
    """Launch on another route, as a change-over finds it, minus launch on the main route, exactly. [us]

    Parameters
    ----------
    chain : Chain
        The other route. A field that it names in `set` keeps a setting for each route and goes over to that of this
        one; every other field stays where the main route has it.
    fields : sequence of DelayField
        The site's fields.
    later_by : Fraction
        Latency of this route minus that of the main one. [us]
    main, own : sequence of FieldSetting
        Computed settings of the main route and of this one.
    """
    presets = chain.set or {}
    moved = (
        contributes(field, mine.value) - contributes(field, left.value)
        for field, left, mine in zip(fields, main, own, strict=True)
        if field.name in presets
    )
    return later_by + sum(moved, Fraction(0))


def shares_fields(site: Site) -> bool:
    """Whether a standby has settings of its own for some fields only: the others are worked out as main has them."""
    names = {field.name for field in site.delay_fields}
    return any(chain.route != MAIN and chain.set and names - set(chain.set) for chain in site.chains)


def fed_through(site_id: str, parents: Mapping[str, str | None]) -> tuple[str, ...]:
    """A site with those that feed it off air, the nearest first; a ring ends where it closes."""
    line = [site_id]
    while (above := parents.get(line[-1])) is not None and above not in line:
        line.append(above)
    return tuple(line)


def fed_from(network: Network) -> Mapping[str, tuple[str, ...]]:
    """Ids of all sites that follow each site's launch, directly or through others, in document order."""
    parents = {site.id: site.fed_off_air_from for site in network.sites}
    below: dict[str, list[str]] = {site.id: [] for site in network.sites}
    for name in parents:
        at = parents[name]
        while at is not None:
            below[at].append(name)
            at = parents[at]
    return {name: tuple(found) for name, found in below.items()}
