"""Drive tests that drawn worlds have to agree with: which stretches speak of which site, and what that is worth."""

from dataclasses import dataclass

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.reception.coverage import Coverage
from sfn.reception.level_seen import METER_DB, MOST_VALUES_N, STRETCH_DB, Seen, seen_of
from sfn.report.numbers import db, number
from sfn.study.calibrated import Calibrated
from sfn.study.worlds import Worlds

LOOKED_AT_N = 400
"""Places at which the spread that stays is worked out, drawn by who counts there: each costs a solution."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What drive tests say of a map's levels.

    Parameters
    ----------
    stretches_n, used_n, outside_n, untold_n : int
        Stretches of road; those that count; those beyond the map; those of which no site stands out.
    values_n, pixels_n : int
        Values by site and pixel that worlds agree with, and how many there were.
    sites : tuple of str
        Names of the sites that they speak of.
    before_db, after_db : float
        Spread of the levels of all sites, without and with what was measured, over the places that count (root mean
        square by their weight). [dB]
    shift_db : float
        By how much levels are higher than predicted there, in the middle of the worlds that agree. [dB]
    meter_db : float
        [dB]
    problems : tuple of Problem
        What of the logs was left out, and what they leave in doubt.
    """

    stretches_n: int
    used_n: int
    outside_n: int
    untold_n: int
    values_n: int
    pixels_n: int
    sites: tuple[str, ...]
    before_db: float
    after_db: float
    shift_db: float
    meter_db: float
    problems: tuple[Problem, ...] = ()

    @property
    def says(self) -> tuple[str, ...]:
        """In words, what was taken and what was not, first."""
        beside = "; ".join(
            f"{number(count, 0)} {why}"
            for count, why in (
                (self.outside_n, "lie beyond the map"),
                (self.untold_n, "speak of no single site, or of one without a level there"),
            )
            if count
        )
        left = f" ({beside}: these change nothing)" if beside else ""
        taken = f"Measured: {number(self.used_n, 0)} of {number(self.stretches_n, 0)} stretches of road count{left}"
        if not self.values_n:
            return (f"{taken}. The worlds are those without a drive test",)
        if self.values_n < self.pixels_n:
            taken += (
                f"; of {number(self.pixels_n, 0)} values by site and pixel {number(self.values_n, 0)}, evenly taken, "
                f"for more than {number(MOST_VALUES_N, 0)} are not worked with"
            )
        return (
            f"{taken}. Only worlds that agree with them are drawn; they speak of {', '.join(self.sites)}. Uncertainty "
            f"of their receiver all along {self.meter_db:g} dB, of one stretch beside its pixel {STRETCH_DB:g} dB "
            "(common practice, from memory)",
            f"levels over the places that count, of all sites: spread {db(self.before_db, 1)} without the drive test, "
            f"{db(self.after_db, 1)} with it, at {number(LOOKED_AT_N, 0)} places at most; in the middle of the worlds "
            f"they are {db(self.shift_db, 1, signed=True)} beside the prediction. Near the measured road they are "
            "known best; served as predicted goes by the prediction alone",
            "they count as driven with the powers, antennas and sites of this document; nothing here tells when they "
            "were: what was changed since then moves the worlds by as much",
        )


def seen_on(computed: Coverage, measured: Calibrated, *, meter_db: float = METER_DB) -> Seen:
    """Stretches of road by site and pixel of a map; `sfn.study.calibrated` says of which site each speaks.

    Raises
    ------
    PlanError
        If the network's receiver stands indoors: what was driven outdoors says nothing of buildings.
    """
    if measured.network.receiver.indoors is not None:
        what = "the network's receiver stands indoors, and a drive test outdoors says nothing of what buildings take"
        expected = "a receiver outdoors in the document, or no drive test"
        raise PlanError([Problem("measured", what, expected, code="measured-outdoors", fields=("receiver",))])
    rows = {name: row for row, name in enumerate(computed.sites)}
    return seen_of(
        computed.grid, lat_deg=measured.road.lat_deg, lon_deg=measured.road.lon_deg,
        off_db=-measured.found.difference_db, site=[rows.get(site or "", -1) for site in measured.found.site],
        meter_db=meter_db,
    )  # fmt: skip


def measured_by(worlds: Worlds, measured: Calibrated, seen: Seen) -> Measured:
    """What was taken of drive tests, and what it makes surer over the places of some worlds."""
    road, grid = measured.road, worlds.computed.grid
    told = np.array([site is not None for site in measured.found.site]) & np.isfinite(measured.found.difference_db)
    inside = grid.contains(road.lat_deg, road.lon_deg)
    every = seen_of(
        grid, lat_deg=road.lat_deg, lon_deg=road.lon_deg, off_db=-measured.found.difference_db,
        site=[-1 if site is None else 0 for site in measured.found.site],
    )  # fmt: skip
    names = {site.id: site.name for site in measured.network.sites}
    spoken = tuple(names[worlds.computed.sites[row]] for row in np.unique(seen.site))
    before = after = worlds.draws.doubt.sigma_db
    shift = 0.0
    if worlds.seen is not None:
        weight = worlds.weight / worlds.weight.sum()
        rng = np.random.default_rng(worlds.seed)
        at = np.unique(rng.choice(weight.size, LOOKED_AT_N, p=weight)).astype(np.intp)
        after = float(np.sqrt(np.mean(worlds.seen.spread_db(at) ** 2)))
        shift = float((worlds.seen.mean_db() * weight).sum(axis=1).mean())
    return Measured(
        len(road), int(np.count_nonzero(told & inside)), int(np.count_nonzero(~inside)),
        int(np.count_nonzero(inside & ~told)), int(seen.site.size), int(every.site.size), spoken, before, after, shift,
        seen.meter_db, measured.problems,
    )  # fmt: skip
