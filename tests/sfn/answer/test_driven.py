"""Runs at several settings with what is predicted at each, held against the road's own answer."""

from pathlib import Path

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.geodesy.sites import place
from sfn.plan import read_file
from sfn.reception.along import line_signals
from sfn.study.driven import driven
from sfn.study.road import road
from sfn.study.what_if import WhatIf, tried
from sfn.survey.runs import Run
from sfn.survey.track import Samples

NETWORK = read_file(Path(__file__).parent.parent / "example-network.json")
LAT, LON = np.linspace(36.25, 36.33, 80), np.linspace(-84.22, -84.18, 80)
NOTHING = np.full(80, np.nan)


def run(setting_us: float) -> Run:
    """A drive between the sites with a level noted everywhere."""
    return Run(setting_us, LAT, LON, np.full(80, 60.0), NOTHING, NOTHING, ("",) * 80)


def test_quality_is_predicted_at_every_setting_of_the_site_that_moved() -> None:
    """The same margins as a road with that offset tried; those fed off air move with it; the plan alone without."""
    found = driven(NETWORK, [run(-40.0), run(0.0), run(40.0)], moved="north")
    place_of = place(NETWORK)
    signals = line_signals(NETWORK, found.found.lat_deg, found.found.lon_deg)
    samples = Samples(found.found.distance_m, found.found.lat_deg, found.found.lon_deg)
    for row, setting_us in enumerate((-40.0, 0.0, 40.0)):
        now = tried(NETWORK, WhatIf(offsets_us={"north": NETWORK.sites[0].offset_us + setting_us}), placed=place_of)
        there = road(now, samples, signals).quality
        np.testing.assert_array_equal(there.margin_db.astype(float), found.margin_db[row])

    alone = driven(NETWORK, [run(-40.0), run(40.0)])
    np.testing.assert_array_equal(found.margin_db[1:2], alone.margin_db)
    assert alone.moved is None
    assert np.ptp(found.margin_db, axis=0).max() > 1.0
    assert 3 == len(found.served_pct)
    top = np.nanmax(signals.level_dbuvm, axis=0)
    assert ((found.level_dbuvm >= top) & (found.level_dbuvm <= top + 10 * np.log10(3))).all()


def test_a_site_that_is_not_there_is_named() -> None:
    """In words, with those there are."""
    with pytest.raises(PlanError, match="there is no site 'west'; one of north, south, gap"):
        driven(NETWORK, [run(0.0), run(1.0)], moved="west")
