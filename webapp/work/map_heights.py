"""Levels of a map whose antennas are tried higher or elsewhere: another map, of which one site is computed anew."""

from dataclasses import replace

from sfn.errors import PlanError, Problem
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.coverage import coverage_key
from sfn.study.lever_try import hung_as
from sfn.study.what_if import Tried, WhatIf, tried
from webapp.work.maps import KEPT_BYTES, Maps, Wanted, reaches


def tried_over(maps: Maps, network: Network, what: WhatIf) -> Tried:
    """A network with something tried; the terrain is opened only where a site is tried elsewhere.

    Raises
    ------
    PlanError
        As `sfn.study.what_if.tried`; and if the terrain is asked and cannot be read.
    """
    moves = any(lever.position for lever in what.levers.values())
    return tried(network, what, placed=place(network), ground=maps.ground(network) if moves else None)


def key_of_try(maps: Maps, network: Network, now: Network, key: str) -> str:
    """The key of the levels that a try rests on; `key`, the plan's, where every antenna hangs as planned.

    Raises
    ------
    PlanError
        If they are not in memory: whoever asks has the page of the try start them.
    """
    hung, planned = hung_as(network, now), maps.find(key)
    if hung is network or planned is None:
        return key
    found = coverage_key(hung, planned.grid, ground=maps.ground(network))
    if maps.find(found) is None:
        what = "the levels of an antenna at another height or place are not worked out yet"
        expected = "the map opened with the try, which works out that site alone"
        raise PlanError([Problem("map", what, expected, code="levels-to-be-computed")])
    return found


def missing(maps: Maps, network: Network, now: Network, wanted: Wanted) -> tuple[Network, Wanted] | None:
    """The first levels of a map with a try that are not in memory, and whose: the plan's, then those of the try.

    Raises
    ------
    PlanError
        If both together are more than is kept.
    """
    planned, hung = maps.find(wanted.key), hung_as(network, now)
    if planned is None:
        return network, wanted
    key = coverage_key(hung, wanted.grid, ground=wanted.ground)
    if maps.find(key) is not None:
        return None
    reaches(hung, wanted.grid)
    if 2 * planned.kept_bytes > KEPT_BYTES:
        what = "plan and try with an antenna at another height or place are more than is kept in memory"
        raise PlanError([Problem("pixel_m", what, "larger pixels, or a smaller area", code="map-too-large")])
    return hung, replace(wanted, key=key)
