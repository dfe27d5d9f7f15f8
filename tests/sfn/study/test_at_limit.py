"""Sites at a limit: those that one step more would put beyond what the limits keep, with what bounds them."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from sfn.geodesy.sites import place
from sfn.solve.limits import Limits, limits
from sfn.study.at_limit import AtLimit, at_limits
from sfn.timing import delay_table
from tests.sfn.networks import example

NETWORK = example()
TABLE = delay_table(NETWORK, placed=place(NETWORK))
STEPS_US = {row.site_id: row.step_us for row in TABLE.rows if row.route == "main"}


def found_at(offsets_us: np.ndarray, allowed: Limits, most_us: float, **asked: Any) -> dict[tuple[str, str], AtLimit]:
    """By site and side."""
    found = at_limits(NETWORK, TABLE, allowed, offsets_us, most_us=most_us, **asked)
    return {(one.site, one.side): one for one in found}


@given(st.lists(st.floats(-1, 1), min_size=3, max_size=3), st.floats(5, 60))
@settings(max_examples=150)
def test_at_a_limit_is_where_a_step_more_is_not_kept(parts: list[float], most_us: float) -> None:
    """Moved on by a step of its device, with what moves along: kept by the limits or not, tried one by one."""
    allowed = limits(NETWORK, TABLE, most_us=most_us)
    middle, half = (allowed.high_us + allowed.low_us) / 2, (allowed.high_us - allowed.low_us) / 2
    at = middle + half * np.array(parts)
    for i in np.flatnonzero(allowed.parent >= 0):  # a relay no earlier than its parent lets it
        j = allowed.parent[i]
        at[i] = min(max(at[i], at[j] - allowed.most_us[j, i]), allowed.high_us[i])
    if not allowed.kept(at):
        return
    found = found_at(at, allowed, most_us)
    for i, site in enumerate(NETWORK.sites):
        for side, sign in (("latest", 1.0), ("earliest", -1.0)):
            on = at.copy()
            on[allowed.group(i)] += sign * STEPS_US[site.id] * (1 - 1e-4)
            assert ((site.id, side) in found) == (bool(allowed.free[i]) and not allowed.kept(on))


def test_what_bounds_is_named() -> None:
    """The search's greatest offset, a site's own limit, the greatest move, and the site that feeds a relay."""
    wide = limits(NETWORK, TABLE, most_us=50.0)
    i = [site.id for site in NETWORK.sites].index("south")
    at = wide.now_us.copy()
    at[i] = wide.high_us[i]
    by_search = found_at(at, wide, float(wide.high_us[i]))["south", "latest"]
    moved = limits(NETWORK, TABLE, most_us=50.0, most_move_us=7.0)
    at[i] = moved.high_us[i]
    by_move = found_at(at, moved, 50.0, most_move_us=7.0)["south", "latest"]

    assert by_search.by == "search"
    assert by_search.room_us == pytest.approx(0.0, abs=1e-6)
    assert "as late as it may" in by_search.says
    assert by_move.by == "move"
    assert moved.high_us[i] == pytest.approx(moved.now_us[i] + 7.0)


def test_a_relay_that_cannot_be_earlier_names_what_feeds_it() -> None:
    """Its floor is a difference from its parent: earlier it would launch before it hears it."""
    allowed = limits(NETWORK, TABLE, most_us=500.0)
    names = [site.id for site in NETWORK.sites]
    child = next(i for i, site in enumerate(NETWORK.sites) if site.fed_off_air_from)
    parent = names.index(str(NETWORK.sites[child].fed_off_air_from))
    at = allowed.now_us.copy()
    at[child] = at[parent] - allowed.most_us[parent, child]
    one = found_at(at, allowed, 500.0)[names[child], "earliest"]

    assert (one.by, one.bounding) == ("site", NETWORK.sites[parent].name)
    assert NETWORK.sites[parent].name in one.says


def test_a_held_site_stands_at_no_limit() -> None:
    """It was not to move."""
    allowed = limits(NETWORK, TABLE, most_us=50.0, held=["south"])

    assert not {key for key in found_at(allowed.now_us, allowed, 50.0) if key[0] == "south"}
    assert replace(allowed, free=np.zeros(3, bool)).free.any() == bool(
        at_limits(NETWORK, TABLE, replace(allowed, free=np.zeros(3, bool)), allowed.now_us, most_us=50.0)
    )
