"""What a transmitter at one mast would do, in figures and with what is doubtful about it."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from sfn.field.contours import inside
from sfn.field.indoors import indoor_loss_db
from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.reception.area import class_summary
from sfn.reception.radiated import as_radiated
from sfn.report.numbers import number
from sfn.study.lever_try import ALL_ROUND
from sfn.study.losers import changed_places, lost_areas, names_near
from sfn.study.optimise import network_objective
from sfn.study.optimise_devices import with_offsets
from sfn.study.placing_found import Placed, Way
from sfn.study.placing_ways import AtMast
from sfn.study.plan_scene import licence_of
from sfn.study.served import Doubles, State, counted_km2, counted_people, state
from sfn.terrain.dem import heights
from sfn.terrain.ground import Ground
from sfn.timing import DelayTable, delay_table
from sfn.timing.device import finest_step

Weight = float  # people or km2, as weighed

Flags = NDArray[np.bool_]

FAR_APART_M = 30.0
"""Ground as typed and as the terrain has it: further apart than this is asked about."""


def described(
    at: AtMast, made: Sequence[Way], directions_n: int, *, before: State, like: str, where: Mapping[str, Located],
    ground: Ground, covered_before: Flags,
) -> Placed:  # fmt: skip
    """One mast in its best way.

    Parameters
    ----------
    at : AtMast
    made : sequence of Way
        The best first.
    directions_n : int
        How many were compared.
    before : State
        Of the network without it.
    like : str
        Id of the site whose device it has.
    where : mapping of site id to Located
        Of all sites, this one too.
    ground : Ground
    covered_before : ndarray of bool, shape (M,)
        Where the network without it is judged.
    """
    best, counted, name = made[0], at.asked.counted, at.name
    network = with_offsets(at.with_way(best.pattern, best.azimuth_deg), {name: best.offset_us})
    levels = as_radiated(network, at.levels)
    what = network_objective(network, levels, counted, executor=at.executor)
    table = delay_table(network, placed=where)
    after = state(network, levels, what, table.launches(), people=counted.people, executor=at.executor)
    was, now = before.served, after.served
    gained, lost = now & ~was & levels.covered, was & ~now & levels.covered
    area, people = counted_km2(levels), counted_people(levels, counted.people)
    unjudged = was & covered_before & ~levels.covered
    raw = area if people is None else people
    weighed = _weight_before(at, counted.people)
    names = {site.id: site.name for site in network.sites}
    return Placed(
        at.mast, name, like, network, tuple(made), directions_n, table.row(name), after,
        float(what.weight[gained].sum()), float(what.weight[lost].sum()),
        None if people is None else float(people[gained].sum()),
        None if people is None else float(people[lost].sum()),
        float(area[gained].sum()), float(area[lost].sum()),
        class_summary(np.where(lost, after.quality.quality_class, np.nan), area, people=people),
        float(weighed[unjudged].sum()),
        changed_places(levels, counted.places, before, after),
        lost_areas(levels, before, after, raw, near=names_near(counted.places, where, names)),
        _beyond(at, network), _doubts(at, best, like, table, ground, float(weighed[unjudged].sum()), what.unit),
    )  # fmt: skip


def _weight_before(at: AtMast, people: Doubles | None) -> Doubles:
    """What counts at each pixel, judged or not. [people or km2]"""
    if people is None or not at.asked.counted.counts_people:
        return at.levels.area_km2()
    return people


def _beyond(at: AtMast, network: Network) -> tuple[tuple[str, float], ...]:
    """Licence contours of the document, of every site, that it would reach out of, and by how much."""
    lines = network.may_change.licences if network.may_change else ()
    levels, found = as_radiated(network, at.levels), []
    outdoors = levels.level_dbuvm[-1] + np.float32(indoor_loss_db(network))
    for line in lines:
        if line.sites:
            continue
        licence = licence_of(line)
        over = ~inside(licence.areas, levels.grid).ravel() & levels.covered & (outdoors >= licence.level_dbuvm)
        if over.any():
            found.append((licence.name, float(levels.area_km2()[over].sum())))
    return tuple(found)


def _doubts(
    at: AtMast, best: Way, like: str, table: DelayTable, ground: Ground, unjudged: Weight, unit: str
) -> tuple[str, ...]:
    """What is doubtful about one mast, in words."""
    mast, network = at.mast, at.planned
    names = {site.id: site.name for site in network.sites}
    step_us = float(finest_step(network.sites[-1].delay_fields))
    said = list(mast.said)
    if mast.feed_us is None:
        said.append(
            f"how long its feed is is not known: it counts as launching in whole steps of {number(step_us, 4)} us, as "
            f"the device of {names[like]} has them, from the common delay of {number(table.common_delay_us, 4)} us; "
            f"its device may round by {number(step_us / 2, 4)} us more, and must be able to reach that launch"
        )
    if unjudged > 0.0:
        said.append(
            f"the terrain has a gap on the way from it: {number(unjudged, 1)} {unit} that are served today are not "
            "judged with it, and count as neither gained nor lost"
        )
    if ground.terrain is not None:
        has_m = float(heights(ground.terrain, [mast.at.lat_deg], [mast.at.lon_deg])[0])
        if np.isnan(has_m):
            said.append("the terrain has no height where it stands")
        elif abs(has_m - mast.ground_m) > FAR_APART_M:
            said.append(
                f"its ground is given as {number(mast.ground_m, 0)} m, and the terrain has {number(has_m, 0)} m there"
            )
    elif mast.ground_m < network.plain_m:
        said.append(
            "it stands lower than every site, so that without a terrain the plain of all of them would lie lower once "
            "it is in the network, and all levels move a little"
        )
    if best.pattern != ALL_ROUND:
        said.append("its pattern counts with the same e.r.p. in its strongest direction, without a tilt of its own")
    return tuple(said)
