"""Which places are asked about for a new transmitter: those of a table, or high ground that sees what is looked for."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import Located
from sfn.plan import Network, Place
from sfn.plan.sheets import SheetTable
from sfn.reception.coverage import Coverage
from sfn.study.find_place import FoundPlace, PlaceList, find_place
from sfn.study.high_ground import USUAL_APART_M, USUAL_MASTS_N, AskedGround, high_ground
from sfn.study.mast import Mast
from sfn.study.mast_table import RANGES, masts_of
from sfn.study.optimise import network_objective
from sfn.study.optimised import Asked
from sfn.study.served import state
from sfn.terrain.ground import Ground
from sfn.timing import delay_table
from sfn.units import counted as in_words

Told = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class AskedMasts:
    """Which places.

    Parameters
    ----------
    table : SheetTable, optional
        Masts of one's own; none: high ground is looked for.
    antenna_m, erp_kw : float, optional
        Of masts without cells of their own, and of all high ground. [m, kW]
    near : str
        A place that high ground must see, by its name or position; empty: people who are not served.
    within_m : float, optional
        How far from it high ground is looked for; none: all over the map. [m]
    apart_m : float
        Least distance between two. [m]
    most_n : int
        How much high ground at most.
    like : str
        As in `sfn.study.placing_found.AskedPlacing`.
    names : tuple of PlaceList
        Further names that `near` may be one of: fetched places, lines and places of one's own.
    """

    table: SheetTable | None = None
    antenna_m: float | None = None
    erp_kw: float | None = None
    near: str = ""
    within_m: float | None = None
    apart_m: float = USUAL_APART_M
    most_n: int = USUAL_MASTS_N
    like: str = ""
    names: tuple[PlaceList, ...] = ()


def masts_asked(
    network: Network,
    computed: Coverage,
    asked: AskedMasts,
    counted: Asked,
    *,
    placed: Mapping[str, Located],
    ground: Ground,
    executor: Executor | None = None,
    progress: Told | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> tuple[tuple[Mast, ...], tuple[str, ...]]:
    """The places, and how they were found.

    Parameters
    ----------
    network : Network
    computed : Coverage
        Its map: high ground is looked for on it, and what is not served.
    asked : AskedMasts
    counted : Asked
        Who counts.
    placed : mapping of site id to Located
    ground : Ground
    executor : concurrent.futures.Executor, optional
    progress, cancelled
        As in `sfn.study.high_ground.high_ground`.

    Raises
    ------
    PlanError
        If something lacks, a place is not known, or there is none.
    """
    if asked.table is not None:
        masts = masts_from_table(network, asked, placed=placed, ground=ground)
        return masts, (f"{in_words(len(masts), 'place')} of {asked.table.source}",)
    lacking = [
        Problem(name, f"is lacking: high ground has none of its own ({words})", "a figure", code="figure-missing",
                fields=(name,))
        for name, words, value in (
            ("antenna_m", "height of the antenna", asked.antenna_m), ("erp_kw", "e.r.p.", asked.erp_kw)
        ) if value is None
    ]  # fmt: skip
    near = None
    if asked.near:
        found = place_named(network, asked.near, placed=placed, places=counted.places, lists=asked.names)
        near = found.name, found.lat_deg, found.lon_deg
    if near is None and asked.within_m is not None:
        what, expected = "does nothing where no place must be seen", "a place beside it, or no distance"
        lacking.append(Problem("within_km", what, expected, code="option-idle", fields=("within_km",)))
    if lacking:
        raise PlanError(lacking)
    assert asked.antenna_m is not None  # refused above
    assert asked.erp_kw is not None
    wanted = AskedGround(
        computed.grid.bounds_deg, asked.antenna_m, asked.erp_kw, near, asked.within_m, asked.apart_m, asked.most_n,
        asked.like,
    )  # fmt: skip
    targets = _not_served(network, computed, counted, placed, executor)
    return high_ground(
        network, wanted, placed=placed, ground=ground, targets=targets, progress=progress, cancelled=cancelled
    )


def masts_from_table(
    network: Network, asked: AskedMasts, *, placed: Mapping[str, Located], ground: Ground
) -> tuple[Mast, ...]:
    """The masts of the table alone, which need no map; none without a table.

    Raises
    ------
    PlanError
        With every cell that cannot be used, or figures for all of them that are out of their range.
    """
    wrong = []
    for name, value in (("antenna_m", asked.antenna_m), ("erp_kw", asked.erp_kw)):
        least, most, unit = RANGES[name]
        if value is not None and not least <= value <= most:
            what, expected = f"cannot be {value:g} {unit}", f"{least:g} to {most:g} {unit}"
            wrong.append(Problem(name, what, expected, code="out-of-range", fields=(name,)))
    if wrong:
        raise PlanError(wrong)
    if asked.table is None:
        return ()
    return masts_of(
        asked.table, network, placed=placed, ground=ground, antenna_m=asked.antenna_m, erp_kw=asked.erp_kw,
        like=asked.like,
    )  # fmt: skip


def _not_served(
    network: Network, computed: Coverage, counted: Asked, placed: Mapping[str, Located], executor: Executor | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places that are not served as planned, with what each counts for. [degrees, people or km2]"""
    what = network_objective(network, computed, counted, executor=executor)
    launches = delay_table(network, placed=placed).launches()
    now = state(network, computed, what, launches, people=counted.people, executor=executor)
    lat, lon = computed.grid.points_deg
    without = np.flatnonzero(~now.served & (what.weight > 0))
    return np.ravel(lat)[without], np.ravel(lon)[without], what.weight[without]


def place_named(
    network: Network,
    text: str,
    *,
    placed: Mapping[str, Located],
    places: Sequence[Place],
    lists: Sequence[PlaceList] = (),
) -> FoundPlace:
    """The one place of a name or position, among all that `sfn.study.find_place.find_place` finds.

    Raises
    ------
    PlanError
        If there is none, or more than one: then with where each lies and which list has it.
    """
    found = find_place(network, text, placed=placed, places=places, lists=lists)
    exact = [one for one in found if one.name.casefold() == text.strip().casefold()] or list(found)
    if len(exact) == 1:
        return exact[0]
    told = ", ".join(f"{one.name} at {one.lat_deg:.4f} {one.lon_deg:.4f} ({one.source})" for one in exact)
    what = f"{text!r} is no place here" if not exact else f"{text!r} may be {told}"
    listed = "" if not lists else f", of {' or '.join(one.label for one in lists)}"
    expected = f"the name of one place where people live{listed}, of a site, or a position like 36.3, -84.2"
    raise PlanError([Problem("near", what, expected, code="place-unknown", fields=("near",))])
