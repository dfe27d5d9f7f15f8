"""What an adjustment says of a network: launch errors of sites, and of every measurement what is left over."""

from dataclasses import dataclass
from typing import Literal

from sfn.errors import Problem
from sfn.survey.adjustment import Adjustment
from sfn.survey.measurements import Measurement

Verdict = Literal["fits", "doubtful", "suspect", "uncheckable", "left out"]


@dataclass(frozen=True, slots=True)
class SiteError:
    """What the measurements say of one site.

    Parameters
    ----------
    launch_error_us, correction_us : float or None
        Launch later than planned, and its negative: what to add to the site's delay. None without measurements. [us]
    uncertainty_us : float or None
        Standard uncertainty against the datum: the held site, or the mean of the group; grown by
        `Reconciliation.growth_ratio`. [us]
    claimed_uncertainty_us : float or None
        The same from what the measurements claim, however they scatter. [us]
    group : int or None
        Sites of one group are tied together; between groups nothing is known.
    """

    site: str
    launch_error_us: float | None
    correction_us: float | None
    uncertainty_us: float | None
    claimed_uncertainty_us: float | None
    group: int | None
    held: bool
    observations_n: int


@dataclass(frozen=True, slots=True)
class Residual:
    """What the adjustment says of one measurement.

    Parameters
    ----------
    predicted_us, misclosure_us : float
        From the plan, and observed minus that. [us]
    residual_us : float
        Adjusted minus observed: the sign of the JSON key. People are shown its negative, `left_over_us`. [us]
    redundancy_ratio : float
        Share of its error that the others would show, 0 to 1.
    w_ratio : float or None
        Residual, with its sign, in its own standard uncertainties. None when nothing checks it.
    least_detectable_us : float or None
        Least error that would be found, with a chance of 80 % at the 0.1 % level. [us]
    weight_factor : float
        Below 1 where robust re-weighting took trust away.
    alike : tuple of int
        Numbers of measurements in which the same error may lie just as well.
    """

    measurement: Measurement
    predicted_us: float
    misclosure_us: float
    residual_us: float | None
    redundancy_ratio: float | None
    w_ratio: float | None
    least_detectable_us: float | None
    weight_factor: float
    verdict: Verdict
    alike: tuple[int, ...]

    @property
    def left_over_us(self) -> float | None:
        """Measured minus adjusted: what is shown everywhere. [us]"""
        return None if self.residual_us is None else 0.0 - self.residual_us


@dataclass(frozen=True, slots=True)
class SharedArrival:
    """The reference arrival that the rows of one impulse response share.

    Parameters
    ----------
    left_over_us : float
        Measured minus adjusted. [us]
    w_ratio : float or None
        The same in its own standard uncertainties. None when nothing checks it.
    rows : tuple of int
        Numbers of the measurements that are off together when it is off.
    """

    response: str
    site: str
    where: str
    left_over_us: float
    w_ratio: float | None
    rows: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Reconciliation:
    """Launch errors, residuals, tests, and everything that must be said with them."""

    sites: tuple[SiteError, ...]
    residuals: tuple[Residual, ...]
    shared: tuple[SharedArrival, ...]
    groups: tuple[tuple[str, ...], ...]
    rank: int
    freedom: int
    chi_square_ratio: float
    chi_square_limits: tuple[float, float]
    scale_ratio: float
    adjustment: Adjustment
    problems: tuple[Problem, ...]

    @property
    def growth_ratio(self) -> float:
        """What uncertainties are multiplied by: the scale ratio where chi-square is above its 95 % limit, else 1."""
        return self.scale_ratio if self.chi_square_ratio > self.chi_square_limits[1] else 1.0

    def difference(self, site: str, reference: str) -> tuple[float, float] | None:
        """Launch error of `site` minus that of `reference` and its uncertainty, grown; None when not tied. [us]"""
        numbers = {s.site: k for k, s in enumerate(self.sites)}
        i, j = numbers[site], numbers[reference]
        if self.sites[i].group is None or self.sites[i].group != self.sites[j].group:
            return None
        value, spread_us = self.adjustment.value_us, self.adjustment.difference_uncertainty(i, j)
        return float(value[i] - value[j]), spread_us * self.growth_ratio
