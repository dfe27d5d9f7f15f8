"""What cannot be set: settings beyond a field's own limits, said with what would work and who forces it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from sfn.errors import Problem, Severity
from sfn.plan import Site
from sfn.timing.setting import field_limits, finest_step

if TYPE_CHECKING:  # the table calls this module
    from sfn.timing.table import DelayRow


# With less than this part of the range left, the next change of a chain may not fit any more.
NEARLY_FULL_RATIO = 0.05


@dataclass(frozen=True, slots=True)
class Needs:
    """The least common delay that works, and the site and route that force it."""

    least_common: Fraction
    forced_by: tuple[str, str]
    forced_by_name: str


def row_problems(
    index: int, site: Site, rows: tuple[DelayRow, ...], *, common: Fraction, needs: Needs
) -> tuple[Problem, ...]:
    """Every setting of one site that its fields cannot make; `index` is the site's place in the document."""
    return tuple(problem for row in rows for problem in _row(index, site, row, common=common, needs=needs))


def _row(index: int, site: Site, row: DelayRow, *, common: Fraction, needs: Needs) -> Iterator[Problem]:
    """The problems of one route."""
    least, greatest = field_limits(site.delay_fields)
    half = float(finest_step(site.delay_fields)) / 2 + 1e-9
    severity: Severity = "error" if site.on_air else "warning"
    who = f"site {site.name} ({row.route})"
    where = f"sites[{index}].delay_fields" if len(site.delay_fields) != 1 else f"sites[{index}].delay_fields[0]"
    if not site.delay_fields:
        if abs(row.added_us) > 1e-6:
            yield Problem(
                where, f"{who} needs {_us(row.added_us)} us added but has no delay field", "a delay field", severity
            )
    elif row.added_us < float(least) - half:
        yield Problem(where, _beyond(who, row.added_us, "least", float(least)), _cure_least(site, row, needs), severity)
    elif row.added_us >= float(greatest) + half:
        most = float(common) - (row.added_us - float(greatest))
        yield Problem(
            where, _beyond(who, row.added_us, "greatest", float(greatest)), _cure_greatest(most, needs), severity
        )
    elif greatest > least and float(greatest) - row.added_us < NEARLY_FULL_RATIO * float(greatest - least):
        left = f"{_us(float(greatest) - row.added_us)} us are left of {_us(float(greatest))} us"
        what = f"{who}: its fields are nearly at their greatest, {left}"
        yield Problem(where, what, "room for a longer chain or a later offset", "warning")


def _beyond(who: str, added_us: float, limit: str, limit_us: float) -> str:
    """How far the added delay lies beyond what the fields can do."""
    return (
        f"{who} needs {_us(added_us)} us added, {_us(abs(added_us - limit_us))} us beyond the {limit} "
        f"that its fields can do, {_us(limit_us)} us"
    )


def _cure_least(site: Site, row: DelayRow, needs: Needs) -> str:
    """What would bring a setting up to the least the fields can do."""
    if site.fed_off_air_from is not None:
        return f"an offset of {_us(row.least_offset_us or 0.0)} us or more: no common delay helps a site fed off air"
    route = needs.forced_by[1]
    least = _us(float(needs.least_common))
    return f"a common delay of {least} us or more, forced by site {needs.forced_by_name} ({route})"


def _cure_greatest(most_us: float, needs: Needs) -> str:
    """What would bring a setting down to the greatest the fields can do."""
    least = float(needs.least_common)
    if most_us >= least:
        return f"a common delay of {_us(most_us)} us or less ({_us(least)} us is the least that works)"
    route = needs.forced_by[1]
    return (
        f"a wider field or {_us(least - most_us)} us of delay upstream: the least common delay that works is "
        f"{_us(least)} us, forced by site {needs.forced_by_name} ({route})"
    )


def _us(value_us: float) -> str:
    """A time for a sentence: as many decimals as matter, never an exponent."""
    return f"{value_us:.4f}".rstrip("0").rstrip(".")
