"""Entries that can be read and yet cannot be right: days, limits, tolerances, power."""

from collections.abc import Iterator
from datetime import date, timedelta

from sfn.chain import stage_latency
from sfn.check.chains import touches_of, users_of
from sfn.errors import Problem, Touch
from sfn.plan import Network, Site
from sfn.units import written

# It is tomorrow already east of whoever looks.
AHEAD = timedelta(days=1)


def entry_problems(network: Network, *, today: date) -> tuple[Problem, ...]:
    """Days that do not exist or are to come, limits that cross, tolerances above their latency, no power.

    Parameters
    ----------
    network : Network
    today : date
        Later days than tomorrow are to come.

    Returns
    -------
    problems : tuple of Problem
        Warnings, stages first.
    """
    return (
        *_stage_days(network, today),
        *_tolerances(network),
        *(problem for i, site in enumerate(network.sites) for problem in _site(i, site, today)),
    )


def _day(text: str, today: date) -> str | None:
    """What is wrong with a day, in words; None where nothing is."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return f"{text} is no day of the calendar"
    return f"{text} is to come" if day > today + AHEAD else None


def _stage_days(network: Network, today: date) -> Iterator[Problem]:
    """Days of measurements and of changes: they decide whether a figure still holds."""
    users = users_of(network)
    for i, stage in enumerate(network.stages):
        for key, text in (("date", stage.date), ("changed", stage.changed)):
            wrong = None if text is None else _day(text, today)
            if wrong is not None:
                yield Problem(
                    f"stages[{i}].{key}",
                    f"stage {stage.id}: {wrong}",
                    "the day it was done, as 2026-09-14",
                    "warning",
                    code="date-impossible",
                    touches=touches_of(users[stage.id]),
                    stages=(stage.id,),
                    fields=(key,),
                    values={key: text},
                    said={"day": text},
                )


def _tolerances(network: Network) -> Iterator[Problem]:
    """Stages that may be off by more than they take: probably exchanged, or in another unit."""
    users = users_of(network)
    for i, stage in enumerate(network.stages):
        latency_us = float(stage_latency(stage, refractivity_n=network.refractivity_n))
        if stage.tolerance_us is not None and stage.tolerance_us > latency_us:
            what = (
                f"stage {stage.id}: its tolerance, {written(stage.tolerance_us)} us, is above its latency, "
                f"{written(latency_us)} us"
            )
            yield Problem(
                f"stages[{i}].tolerance_us",
                what,
                "a tolerance of the latency or less, both in us",
                "warning",
                code="tolerance-above-latency",
                touches=touches_of(users[stage.id]),
                stages=(stage.id,),
                fields=("tolerance_us",),
                values={"tolerance_us": stage.tolerance_us, "latency_us": latency_us},
                said={"tolerance_full_us": stage.tolerance_us, "latency_full_us": latency_us},
            )


def _site(index: int, site: Site, today: date) -> Iterator[Problem]:
    """Limits of the offset, the offset within them, power on air, the day of a level shift."""
    where, touches = f"sites[{index}]", (Touch(site.id),)
    least, greatest = site.least_offset_us, site.greatest_offset_us
    if least is not None and greatest is not None and least > greatest:
        what = (
            f"site {site.name}: its least offset, {written(least)} us, lies above its greatest, {written(greatest)} us"
        )
        yield Problem(
            f"{where}.least_offset_us", what, "exchange them, or correct one", "warning", code="offset-limits-crossed",
            touches=touches, stages=(), fields=("least_offset_us", "greatest_offset_us"),
            values={"least_offset_us": least, "greatest_offset_us": greatest},
        )  # fmt: skip
    elif (least is not None and site.offset_us < least) or (greatest is not None and site.offset_us > greatest):
        limits = f"{'any' if least is None else f'{least:g}'} to {'any' if greatest is None else f'{greatest:g}'} us"
        what = f"site {site.name}: its offset, {written(site.offset_us)} us, lies outside its own limits, {limits}"
        yield Problem(
            f"{where}.offset_us", what, f"an offset from {limits}, or other limits", "warning",
            code="offset-outside-limits", touches=touches, stages=(), fields=("offset_us",),
            values={"offset_us": site.offset_us, "least_offset_us": least, "greatest_offset_us": greatest},
            said={"no_least": "yes" if least is None else None, "no_greatest": "yes" if greatest is None else None,
                  "least_said": None if least is None else f"{least:g}",
                  "greatest_said": None if greatest is None else f"{greatest:g}"},
        )  # fmt: skip
    if site.on_air and site.erp_kw.h + site.erp_kw.v == 0:
        what = f"site {site.name}: is on air with an e.r.p. of 0 kW, so no map and no point sees it"
        expected = "its e.r.p. in either plane, or on_air: false"
        yield Problem(
            f"{where}.erp_kw",
            what,
            expected,
            "warning",
            code="erp-zero",
            touches=touches,
            stages=(),
            fields=("erp_kw",),
        )
    shift = site.level_shift
    wrong = None if shift is None else _day(shift.date, today)
    if wrong is not None:
        yield Problem(
            f"{where}.level_shift.date", f"site {site.name}: {wrong}", "the day the shift was accepted", "warning",
            code="date-impossible", touches=touches, stages=(), fields=("level_shift",),
            said={"day": None if shift is None else shift.date},
        )  # fmt: skip
