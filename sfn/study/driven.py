"""Runs of one route at several settings, with what the plan predicts beneath them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.field.indoors import outdoors
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.aimed import behind_antenna
from sfn.reception.along import LineSignals, line_signals
from sfn.reception.classes import CLASSES, class_words, is_served, shown_classes
from sfn.reception.others import needed_along
from sfn.reception.quality import ServiceQuality, service_quality, yardstick
from sfn.study.what_if import Tried, WhatIf, tried
from sfn.survey.runs import Run, SideBySide, routes, side_by_side
from sfn.terrain.ground import Ground
from sfn.timing import delay_table


@dataclass(frozen=True, slots=True)
class Driven:
    """The runs and the plan along them.

    Parameters
    ----------
    found : SideBySide
    strongest, second : tuple of (str or None)
        Sites of the two strongest signals at each stretch.
    level_difference_db, delay_difference_us : ndarray (B,)
        Second strongest minus strongest, as planned; NaN where there are no two. [dB, us]
    level_dbuvm : ndarray (B,)
        Of all sites on air together, as predicted; NaN where none is known. [dB(uV/m)]
    moved : str or None
        Site whose launch the settings move, where that was told.
    margin_db, quality_class : ndarray (R, B) or (1, B)
        What is predicted at each setting, or of the plan alone where `moved` is None; NaN where nothing is. [dB, 1]
    """

    found: SideBySide
    strongest: tuple[str | None, ...]
    second: tuple[str | None, ...]
    level_difference_db: NDArray[np.float64]
    delay_difference_us: NDArray[np.float64]
    level_dbuvm: NDArray[np.float64]
    moved: str | None
    margin_db: NDArray[np.float64]
    quality_class: NDArray[np.float64]
    runs: tuple[Run, ...] = ()
    words: tuple[str, ...] = CLASSES
    """What the service calls the classes."""
    shown: tuple[int, ...] = ()
    """Codes of those that it has, the best first."""

    @property
    def served_pct(self) -> tuple[float, ...]:
        """Share of the route predicted to be served, of what is known, at each setting or of the plan alone. [%]"""
        known = np.isfinite(self.quality_class)
        served = is_served(self.quality_class).sum(axis=1)
        return tuple((100.0 * served / np.maximum(known.sum(axis=1), 1)).tolist())

    def pairs(self, names: Mapping[str, str]) -> tuple[str, ...]:
        """The two strongest at each stretch by their names; empty where there are no two."""
        return tuple(
            f"{names[b]} minus {names[a]}" if a and b else "" for a, b in zip(self.strongest, self.second, strict=True)
        )


def driven(
    network: Network,
    runs: Sequence[Run],
    *,
    moved: str | None = None,
    stretch_m: float = 100.0,
    ground: Ground | None = None,
) -> Driven:
    """Runs side by side with the plan's levels, delay difference of the two strongest signals, and quality.

    Parameters
    ----------
    network : Network
    runs : sequence of Run
    moved : str, optional
        Site that was set later than planned by each run's setting: quality is then predicted at every setting.
    stretch_m : float
        [m]
    ground : Ground, optional
        Terrain; a smooth earth without it.

    Raises
    ------
    PlanError
        If the runs cannot be compared, there is no such site, or a position cannot be read.
    """
    network = outdoors(network)  # where the drives were
    sites = {site.id: site for site in network.sites}
    if moved is not None and moved not in sites:
        raise PlanError(
            [
                Problem(
                    "moved",
                    f"there is no site {moved!r}",
                    f"one of {', '.join(sites)}",
                    code="unknown-site",
                    fields=("moved",),
                    values={"site": moved},
                )
            ]
        )
    try:
        found = side_by_side(runs, stretch_m=stretch_m)
    except ValueError as error:
        raise PlanError(
            [
                Problem(
                    "runs",
                    str(error),
                    "two runs or more of one route at different settings",
                    code="runs-not-comparable",
                    fields=("runs",),
                )
            ]
        ) from error
    signals = line_signals(network, found.lat_deg, found.lon_deg, ground=ground)
    level = signals.level_dbuvm
    heard = network.transmitting
    radiates = np.array([site.id in heard for site in network.sites])
    level = np.where(radiates[:, None] & np.isfinite(level), level, -np.inf)
    placed = place(network)
    launches = delay_table(network, placed=placed).launches()
    arrival = signals.travel_us + np.array([launches[name] for name in signals.sites])[:, None]
    order = np.argsort(-level, axis=0)
    columns = np.arange(len(found.distance_m))
    first, second = order[0], order[min(1, len(order) - 1)]
    two = np.isfinite(level[second, columns]) & (first != second)
    ids = [site.id for site in network.sites]
    with np.errstate(invalid="ignore"):
        difference = level[second, columns] - level[first, columns]
    tries = (
        [WhatIf()]
        if moved is None
        else [WhatIf(offsets_us={moved: sites[moved].offset_us + setting}) for setting in found.settings_us]
    )
    judged = [_quality(signals, tried(network, what, placed=placed)) for what in tries]
    carried = yardstick(network).carried
    power = np.where(np.isfinite(level), 10.0 ** (level / 10.0), 0.0).sum(axis=0)
    return Driven(
        found=found,
        strongest=tuple(ids[k] if np.isfinite(level[k, c]) else None for c, k in enumerate(first)),
        second=tuple(ids[k] if two[c] else None for c, k in enumerate(second)),
        level_difference_db=np.where(two, difference, np.nan),
        delay_difference_us=np.where(two, arrival[second, columns] - arrival[first, columns], np.nan),
        level_dbuvm=np.where(power > 0, 10.0 * np.log10(np.maximum(power, 1e-300)), np.nan),
        moved=moved,
        margin_db=np.array([quality.margin_db for quality in judged], dtype=np.float64),
        quality_class=np.array([quality.quality_class for quality in judged], dtype=np.float64),
        runs=tuple(runs),
        words=class_words(carried),
        shown=shown_classes(carried),
    )


@dataclass(frozen=True, slots=True)
class DrivenRoutes:
    """Runs put together by the road that they drove, and what must be said of all of them."""

    routes: tuple[Driven, ...]
    stretch_m: float
    problems: tuple[Problem, ...]


def driven_routes(
    network: Network,
    runs: Sequence[Run],
    *,
    moved: str | None = None,
    stretch_m: float = 100.0,
    ground: Ground | None = None,
) -> DrivenRoutes:
    """Runs side by side, those of each road by themselves: `driven` for each.

    Raises
    ------
    PlanError
        As `driven`; where no two runs of one road have different settings it says which stand alone.
    """
    groups = routes(runs) if runs else ()
    problems = [p for run in runs for p in run.origin.problems]
    fit = [group for group in groups if len({run.setting_us for run in group}) > 1]
    if not fit:
        return DrivenRoutes((driven(network, runs, moved=moved, stretch_m=stretch_m, ground=ground),), stretch_m,
                            tuple(problems))  # fmt: skip
    for group in groups:
        if len({run.setting_us for run in group}) > 1:
            continue
        names = ", ".join(run.name for run in group)
        what = f"{names}: no other run drove that road at another setting"
        expected = "two runs or more of one road, at different settings"
        problems.append(Problem(names, what, expected, "warning", code="run-without-another"))
    found = tuple(driven(network, group, moved=moved, stretch_m=stretch_m, ground=ground) for group in fit)
    return DrivenRoutes(found, stretch_m, tuple(problems))


def _quality(signals: LineSignals, now: Tried) -> ServiceQuality:
    """What is predicted along the route with something tried."""
    heard = now.network.transmitting
    rows = [i for i, site in enumerate(now.network.sites) if site.id in heard]
    launches = np.array([now.launches[signals.sites[i]] for i in rows], dtype=np.float64)
    gain_db = behind_antenna(now.network, signals.level_dbuvm[rows], signals.bearing_deg[rows])
    yard = yardstick(now.network)
    beside = needed_along(now.network, signals, np.array(rows, dtype=np.intp), yard.carried)
    return service_quality(
        signals.level_dbuvm[rows] + gain_db,
        signals.travel_us[rows] + launches[:, None],
        yard,
        frequency_mhz=now.network.frequency_mhz,
        level_1pct_dbuvm=signals.level_1pct_dbuvm[rows] + gain_db,
        sites=[signals.sites[i] for i in rows],
        other=beside,
    )
