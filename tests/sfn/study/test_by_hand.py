"""Offsets by hand: ranges say what bounds them, curves and maps of two offsets agree with the score."""

import json
import re

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.geodesy.sites import place
from sfn.report.plane import plane_svg
from sfn.study.by_hand import Ends, curve, plane, sliders, tried_score
from sfn.study.effect import BETTER, GAINS, LOSES, WORSE, effect
from sfn.study.optimise import network_objective
from sfn.study.optimised import Asked
from sfn.study.what_if import WhatIf, tried
from tests.sfn.networks import example
from tests.sfn.study.test_optimise import opened


@pytest.fixture(scope="module")
def ridge():
    """The ridge demo and its objective."""
    network, placed, computed, asked = opened("fm_ridge", 800.0)
    return network, placed, computed, asked, network_objective(network, computed, asked, executor=None)


def test_ranges_say_what_bounds_them():
    """A held site, one fed off air, one with limits of its own, one off air; and wide enough for what was found."""

    def change(tree):
        """Limits of its own for South, North held."""
        tree["sites"][0]["offset_held"] = True
        tree["sites"][1] |= {"least_offset_us": -20.0, "greatest_offset_us": 5.0}

    network = example(change)
    found = {s.site: s for s in sliders(network, placed=place(network), asked=Asked(), found_us={"south": 70.0})}

    assert found["north"].held
    assert found["north"].bounds == "held in the plan"
    assert found["north"].high_us - found["north"].low_us == 40.0
    assert "limits of the site's own" in found["south"].bounds
    assert (found["south"].low_us, found["south"].high_us) == (-20.0, 70.0)
    assert re.search(r"at least 45\.4\sµs later than North", found["gap"].bounds)
    assert found["gap"].parent == "north"

    def silent(tree):
        """South off air."""
        tree["sites"][1]["on_air"] = False

    quiet = example(silent)
    assert {s.site: s for s in sliders(quiet, placed=place(quiet), asked=Asked())}["south"].bounds == "not transmitting"


def test_a_curve_passes_through_the_scores_of_its_offsets(ridge):
    """At the offset of the slider the curve has the score that the numbers show."""
    network, placed, _, _, what = ridge
    drawn = curve(network, what, {"north": 7.0}, Ends("gap", -10.0, 10.0), placed=placed, found_us=-6.0)
    points = re.search(r'<polyline points="([^"]+)"', drawn)
    assert points
    y = np.array([[float(v) for v in pair.split(",")] for pair in points[1].split()])[:, 1]
    scores = [
        tried_score(network, what, {"north": 7.0, "gap": at}, placed=placed)[0].without_service for at in (-10, 0, 10)
    ]
    order = np.argsort([y[0], y[50], y[100]])[::-1]  # higher up is more

    assert order.tolist() == np.argsort(scores).tolist()
    assert "saved" in drawn
    assert "found" in drawn
    with pytest.raises(PlanError, match="there is no site 'east'"):
        curve(network, what, {}, Ends("east", -10.0, 10.0), placed=placed, found_us=None)
    with pytest.raises(PlanError, match="are no range"):
        curve(network, what, {}, Ends("gap", 10.0, -10.0), placed=placed, found_us=None)


def test_a_map_of_two_offsets_has_its_least_where_the_scores_have_it(ridge, monkeypatch):
    """Its corners and its least cell are the scores of those offsets."""
    network, placed, _, _, what = ridge
    seen = {}

    def caught(a_us, b_us, values, **rest):
        """Keep what is drawn."""
        seen.update(a_us=a_us, b_us=b_us, values=values, marks=rest["marks"])
        return plane_svg(a_us, b_us, values, **rest)

    monkeypatch.setattr("sfn.study.by_hand.plane_svg", caught)
    pair = Ends("north", -24.0, 24.0), Ends("gap", -24.0, 24.0)
    plane(network, what, {"west": -13.0}, pair, placed=placed, found_us={"north": 4.0, "gap": -6.0})

    for i, j in ((0, 0), (24, 0), (3, 17)):
        offsets = {"west": -13.0, "north": seen["a_us"][i], "gap": seen["b_us"][j]}
        score, _ = tried_score(network, what, offsets, placed=placed)
        # devices round to their steps; the map moves exactly
        assert seen["values"][i, j] == pytest.approx(score.without_service, rel=0.01)
    name, a_us, b_us = seen["marks"][-1]
    assert name == "least shown"
    i, j = seen["a_us"].index(a_us), seen["b_us"].index(b_us)
    assert seen["values"][i, j] == seen["values"].min()


def test_on_a_map_of_parent_and_child_each_moves_by_itself():
    """The axis of the parent leaves the child at its own offset: both axes are offsets of the plan."""

    def fed(tree):
        """Gap is fed from Summit, and may be late."""
        tree["sites"][2]["fed_off_air_from"] = "summit"
        tree["sites"][2]["chains"] = [{"route": "main", "stages": tree["sites"][2]["chains"][0]["stages"][-1:]}]

    network, placed, computed, asked = opened("fm_ridge", 1500.0, fed)
    what = network_objective(network, computed, asked, executor=None)
    pair = Ends("summit", -10.0, 10.0), Ends("gap", 400.0, 420.0)
    one = plane(network, what, {}, pair, placed=placed, found_us={})
    other = plane(network, what, {}, pair[::-1], placed=placed, found_us={})
    colours = [re.findall(r'fill="(#[0-9a-f]{6})"', text)[:625] for text in (one, other)]

    assert np.array(colours[0]).reshape(25, 25).tolist() == np.array(colours[1]).reshape(25, 25).T.tolist()


def test_gains_and_losses_are_kinds_of_change(ridge):
    """Where service comes and goes, the kinds say so, sums agree, and going back swaps them."""
    network, placed, computed, asked, what = ridge
    launches = [tried(network, WhatIf(offsets_us=o), placed=placed).launches for o in ({}, {"north": 4.0, "gap": -6.0})]
    there = effect(network, computed, what, *launches, people=asked.people, places=asked.places)
    back = effect(network, computed, what, *launches[::-1], people=asked.people, places=asked.places)
    area_km2 = computed.area_km2().reshape(computed.grid.shape)

    assert there.gained_km2 == pytest.approx(area_km2[there.kind == GAINS].sum())
    assert there.lost_km2 == pytest.approx(area_km2[there.kind == LOSES].sum())
    for kind, opposite in ((GAINS, LOSES), (BETTER, WORSE)):
        assert (there.kind == kind).any()
        assert ((there.kind == kind) == (back.kind == opposite)).all()
    assert there.gained_people == pytest.approx(back.lost_people)
    assert np.isnan(there.kind[~computed.covered.reshape(computed.grid.shape)]).all()
    assert {p.name for p in there.losing} <= {p.name for p in asked.places}
    assert json.dumps([p.name for p in there.losing])
