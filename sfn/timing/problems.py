"""What cannot be set, or not well: limits, what whole steps leave, what is not known; with what would cure it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from sfn.errors import Problem, Severity, Touch
from sfn.plan import Site
from sfn.timing.device import UNKNOWN, field_limits, has_no_step
from sfn.timing.missing import Missing
from sfn.timing.reachable import Reachable
from sfn.timing.row import DelayRow
from sfn.units import grouped

# With less than this part of the range left, the next change of a chain may not fit any more.
NEARLY_FULL_RATIO = 0.05
# Settings are exact; this is what binary fractions may add to an exact half step.
_WITHIN_US = 1e-9


@dataclass(frozen=True, slots=True)
class Needs:
    """The least common delay that works, and the site and route that force it."""

    least_common: Fraction
    forced_by: tuple[str, str]
    forced_by_name: str


@dataclass(frozen=True, slots=True)
class Says:
    """What sentences and figures of all sites rest on.

    `tolerated_us` is the launch error that may stay, `tolerance_us` the delay difference that the service bears; None
    where the service is not known.
    """

    common: Fraction
    needs: Needs
    tolerated_us: float | None
    tolerance_us: float | None
    reachable: Reachable | None
    names: Mapping[str, str]


def site_problems(
    index: int, site: Site, rows: tuple[DelayRow, ...], missing: Missing | None, says: Says
) -> Iterator[Problem]:
    """Everything about one site's settings; `index` is its place in the document."""
    if missing is not None:
        if not missing.said:
            yield missing.problem
        return
    yield from _unknown_signs(index, site)
    yield from _without_steps(index, site)
    for row in rows:
        yield from _row(index, site, row, says)
        yield from _unknown_now(index, site, row)


def _severity(site: Site) -> Severity:
    """A setting that cannot be made is wrong where the site transmits, and doubtful where it does not."""
    return "error" if site.on_air else "warning"


def _row(index: int, site: Site, row: DelayRow, says: Says) -> Iterator[Problem]:
    """What whole steps within the limits cannot give one route."""
    least, greatest = (float(limit) for limit in field_limits(site.delay_fields))
    half = row.step_us / 2
    left = abs(row.rounding_us)
    # Without a field there is no step to round to: what is missing is left, as with one.
    beyond = left > half + _WITHIN_US and bool(site.delay_fields)
    if beyond and row.added_us < least:
        yield _unreachable(index, site, row, "least", least, _cure_least(site, row, says))
    elif beyond and row.added_us > greatest:
        most = float(says.common) - (row.added_us - greatest)
        yield _unreachable(index, site, row, "greatest", greatest, _cure_greatest(most, says))
    elif not site.delay_fields and left > max(1e-6, says.tolerated_us or 0.0):
        yield _no_field(index, site, row)
    elif says.tolerated_us is not None and left > says.tolerated_us + _WITHIN_US:
        yield _left(index, site, row, says, "rounding-above-tolerated", _severity(site))
    elif left > max(half + _WITHIN_US, 1e-6):
        yield _left(index, site, row, says, "rounding-left", "warning")
    if greatest > least and 0 <= row.headroom_us < NEARLY_FULL_RATIO * (greatest - least) and not beyond:
        yield _nearly_full(index, site, row, greatest)
    if row.jump_us is not None and says.tolerance_us is not None and abs(row.jump_us) > says.tolerance_us + _WITHIN_US:
        yield _jumps(index, site, row, row.jump_us, says.tolerance_us)
    if not row.proven:
        yield Problem(
            _where(index, site),
            f"site {site.name} ({row.route}): its fields have more combinations of steps than can be tried; a nearer "
            "setting may exist",
            "fields whose steps are whole multiples of one another",
            "warning",
            code="setting-not-proven",
            touches=(Touch(site.id, row.route),),
            fields=_names(site),
        )


_Cure = tuple[str, dict[str, str | None]]
"""What would cure it in words, and its pieces for whoever says it in another language."""


def _where(index: int, site: Site) -> str:
    """The fields of a site, or its only one."""
    return f"sites[{index}].delay_fields" if len(site.delay_fields) != 1 else f"sites[{index}].delay_fields[0]"


def _names(site: Site) -> tuple[str, ...]:
    """Names of a site's fields."""
    return tuple(field.name for field in site.delay_fields)


def _no_field(index: int, site: Site, row: DelayRow) -> Problem:
    """A delay that nothing can add."""
    return Problem(
        _where(index, site),
        f"site {site.name} ({row.route}) needs {_us(row.added_us)} us added but has no delay field",
        "a delay field",
        _severity(site),
        code="setting-unreachable",
        touches=(Touch(site.id, row.route),),
        values={"needed_us": row.added_us, "limit_us": 0.0, "beyond_us": abs(row.added_us)},
        said={"no_field": "yes", "needed_said": f"{_us(row.added_us)} us"},
    )


def _unreachable(index: int, site: Site, row: DelayRow, limit: str, limit_us: float, cure: _Cure) -> Problem:
    """How far the added delay lies beyond what the fields can do."""
    beyond_us = abs(row.added_us - limit_us)
    return Problem(
        _where(index, site),
        f"site {site.name} ({row.route}) needs {_us(row.added_us)} us added, {_us(beyond_us)} us beyond the {limit} "
        f"that its fields can do, {_us(limit_us)} us",
        cure[0],
        _severity(site),
        code="setting-unreachable",
        touches=(Touch(site.id, row.route),),
        fields=_names(site),
        values={"needed_us": row.added_us, "limit_us": limit_us, "beyond_us": beyond_us},
        said=cure[1]
        | {
            "needed_said": f"{_us(row.added_us)} us",
            "limit_said": f"{_us(limit_us)} us",
            "beyond_said": f"{_us(beyond_us)} us",
        },
    )


def _left(index: int, site: Site, row: DelayRow, says: Says, code: str, severity: Severity) -> Problem:
    """What whole steps leave, and what would cure it."""
    than = (
        f"tolerated are {_us(says.tolerated_us or 0.0)} us"
        if code == "rounding-above-tolerated"
        else f"half of its finest step is {_us(row.step_us / 2)} us"
    )
    late = "late" if row.rounding_us > 0 else "early"
    cure, pieces = _cure_left(site, says)
    return Problem(
        _where(index, site),
        f"site {site.name} ({row.route}) needs {_us(row.added_us)} us added; the nearest that its fields can make is "
        f"{_us(row.set_us)} us, so it launches {_us(abs(row.rounding_us))} us too {late}; {than}",
        cure,
        severity,
        code=code,
        touches=(Touch(site.id, row.route),),
        fields=_names(site),
        values={
            "added_us": row.added_us,
            "set_us": row.set_us,
            "rounding_us": row.rounding_us,
            "half_step_us": row.step_us / 2,
            "tolerated_us": says.tolerated_us,
            "reachable_common_delay_us": says.reachable.common_delay_us if says.reachable else None,
            "reachable_offset_us": says.reachable.offsets.get(site.id) if says.reachable else None,
        },
        said=pieces | {"needed_said": f"{_us(row.added_us)} us", "nearest_said": f"{_us(row.set_us)} us"},
    )


def _cure_left(site: Site, says: Says) -> _Cure:
    """A common delay or offsets with which every site can be set as it should, where some were found."""
    found = says.reachable
    if found is None or not site.on_air:
        return (
            "a finer field or one without gaps; no common delay and no small change of offsets was found to serve",
            {},
        )
    cures = []
    said: dict[str, str | None] = {}
    if found.common_delay_us != float(says.common):
        said["reachable_common"] = f"{_us(found.common_delay_us)} us"
        cures.append(f"a common delay of {said['reachable_common']}")
    if found.offsets:
        amounts = {name: f"{value:+.4f}".rstrip("0").rstrip(".") + " us" for name, value in found.offsets.items()}
        cures.append("offsets of " + ", ".join(f"{amount} at {says.names[name]}" for name, amount in amounts.items()))
        said["offsets_at_sites"] = "\n".join(f"{amount}\t{name}" for name, amount in amounts.items())
    which = "by_both" if len(cures) > 1 else "by_offsets" if found.offsets else "by_common"
    cure = f"{' and '.join(cures)}: every site then comes as near as its steps allow; or a finer field"
    return cure, {which: "yes"} | said


def _nearly_full(index: int, site: Site, row: DelayRow, greatest_us: float) -> Problem:
    """Little is left to add."""
    left = f"{_us(row.headroom_us)} us are left of {_us(greatest_us)} us"
    return Problem(
        _where(index, site),
        f"site {site.name} ({row.route}): its fields are nearly at their greatest, {left}",
        "room for a longer chain or a later offset",
        "warning",
        code="headroom-low",
        touches=(Touch(site.id, row.route),),
        fields=_names(site),
        values={"headroom_us": row.headroom_us, "greatest_us": greatest_us},
    )


def _jumps(index: int, site: Site, row: DelayRow, jump_us: float, tolerance_us: float) -> Problem:
    """A change-over that puts the site, and what it feeds, out of step."""
    follow = f", and those of {len(row.jumps)} fed off air from it" if row.jumps else ""
    return Problem(
        f"sites[{index}].chains[{[chain.route for chain in site.chains].index(row.route)}]",
        f"site {site.name} ({row.route}): a change-over to this route moves its launch by "
        f"{grouped(jump_us, '+.4f')} us{follow}; "
        f"the service bears {_us(tolerance_us)} us",
        "delay in the faster route, or a device that keeps a setting for each route; else inhibit the change-over",
        "warning",
        code="jump-beyond-tolerance",
        touches=(Touch(site.id), *(Touch(fed) for fed in row.jumps)),
        values={"jump_us": jump_us, "tolerance_us": tolerance_us},
        said={
            "own_site": site.id,
            "own_route": row.route,
            "jump_said": f"{grouped(jump_us, '+.4f')} us",
            "following_n": len(row.jumps),
            "bears_said": f"{_us(tolerance_us)} us",
        },
    )


def _unknown_signs(index: int, site: Site) -> Iterator[Problem]:
    """Fields of which nobody knows which way they move the launch."""
    for j, field in enumerate(site.delay_fields):
        if field.sign == UNKNOWN:
            yield Problem(
                f"sites[{index}].delay_fields[{j}].sign",
                f"site {site.name}: whether a greater {field.name} launches later or earlier is not known; its setting "
                "is worked out as if later",
                "later or earlier, as a small change measured on the device shows",
                code="device-sign-unknown",
                touches=(Touch(site.id),),
                fields=(field.name,),
            )


def _without_steps(index: int, site: Site) -> Iterator[Problem]:
    """Fields between whose limits no whole step lies."""
    for j, field in enumerate(site.delay_fields):
        if has_no_step(field):
            yield Problem(
                f"sites[{index}].delay_fields[{j}]",
                f"site {site.name}: no whole number of steps of {field.step:g} {field.unit} lies from {field.least:g} "
                f"to {field.greatest:g} {field.unit}, so {field.name} cannot be set at all",
                "limits and a step that belong together",
                _severity(site),
                code="field-without-steps",
                touches=(Touch(site.id),),
                fields=(field.name,),
                values={"step": field.step, "least": field.least, "greatest": field.greatest},
                said={
                    "step_amount": f"{field.step:g}\t{field.unit}",
                    "least_said": f"{field.least:g}",
                    "greatest_amount": f"{field.greatest:g}\t{field.unit}",
                },
            )


def _unknown_now(index: int, site: Site, row: DelayRow) -> Iterator[Problem]:
    """Fields of which nobody read what they are set to."""
    unknown = [j for j, made in enumerate(row.fields) if made.before is None]
    if unknown:
        names = tuple(row.fields[j].name for j in unknown)
        yield Problem(
            f"sites[{index}].delay_fields[{unknown[0]}].set",
            f"site {site.name} ({row.route}): what {', '.join(names)} is set to now is not known, so there is no value "
            "to roll back to",
            "the present value, read off the device before anything is changed",
            "warning",
            code="present-value-unknown",
            touches=(Touch(site.id, row.route),),
            fields=names,
        )


def _cure_least(site: Site, row: DelayRow, says: Says) -> _Cure:
    """What would bring a setting up to the least the fields can do."""
    if site.fed_off_air_from is not None:
        least_said = f"{_us(row.least_offset_us or 0.0)} us"
        cure = f"an offset of {least_said} or more: no common delay helps a site fed off air"
        if says.reachable is None or not site.on_air or says.reachable.offsets:
            return cure, {"least_offset": least_said}
        feeding, pieces = _cure_left(site, says)
        return f"{cure}; unless what feeds it is corrected by {feeding}", {"feeder_mended": "yes"} | pieces | {
            "least_offset": least_said
        }
    needs = says.needs
    least = _us(float(needs.least_common))
    return (
        f"a common delay of {least} us or more, forced by site {needs.forced_by_name} ({needs.forced_by[1]})",
        {"least_common": f"{least} us", **_forced(needs)},
    )


def _forced(needs: Needs) -> dict[str, str | None]:
    """Who forces the common delay."""
    return {"forced_site": needs.forced_by[0], "forced_route": needs.forced_by[1]}


def _cure_greatest(most_us: float, says: Says) -> _Cure:
    """What would bring a setting down to the greatest the fields can do."""
    needs = says.needs
    least = float(needs.least_common)
    if most_us >= least:
        return (
            f"a common delay of {_us(most_us)} us or less ({_us(least)} us is the least that works)",
            {"most_common": f"{_us(most_us)} us", "works_from": f"{_us(least)} us"},
        )
    return (
        f"a wider field or {_us(least - most_us)} us of delay upstream: the least common delay that works is "
        f"{_us(least)} us, forced by site {needs.forced_by_name} ({needs.forced_by[1]})",
        {"upstream": f"{_us(least - most_us)} us", "works_from": f"{_us(least)} us", **_forced(needs)},
    )


def _us(value_us: float) -> str:
    """A time for a sentence: as many decimals as matter, never an exponent."""
    return grouped(value_us, ".4f").rstrip("0").rstrip(".")
