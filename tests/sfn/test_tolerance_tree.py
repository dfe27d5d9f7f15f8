"""Tolerances through relays of relays, against a walk written from the rule over the document as it was typed."""

import json
from collections import Counter
from math import fsum, sqrt
from typing import Any

import pytest
from hypothesis import given, strategies as st

from sfn.geodesy.sites import place
from sfn.pairs import pair_differences
from sfn.plan import read
from sfn.timing import delay_table
from tests.sfn.networks import EXAMPLE_PATH, example

KINDS = st.sampled_from(["model", "restart", "unit", None])
# One tolerance for each model and firmware, or for none: what is common to a model is one figure.
MODELS = {("A", None): 0.5, ("A", "2"): 1.5, ("B", "2"): 4.0}
DEVICES = st.one_of(
    st.tuples(st.sampled_from(list(MODELS)), KINDS),
    st.tuples(st.just((None, None)), KINDS),
)


def device(draw: Any, name: str) -> dict[str, Any]:
    """A stage of some model or none, with a tolerance or none, assumed or not."""
    (model, firmware), kind = draw(DEVICES)
    tolerance = MODELS.get((model, firmware)) if kind == "model" and model else draw(st.sampled_from([None, 0, 0.2, 7]))
    source = draw(st.sampled_from(["assumed", "data sheet", None]))
    keys = {"model": model, "firmware": firmware, "tolerance_kind": kind, "tolerance_us": tolerance, "source": source}
    return {"id": name, "kind": "other", "latency_us": 10} | {
        key: value for key, value in keys.items() if value is not None
    }


@st.composite
def trees(draw: Any) -> dict[str, Any]:
    """A document: the example's first site several times, each fed from the studio or from an earlier one."""
    tree: dict[str, Any] = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    pattern, stages, sites = tree["sites"][0], {"studio": device(draw, "studio")}, []
    for i in range(draw(st.integers(2, 6))):
        parent = draw(st.sampled_from([None, *range(i)]))
        above = "studio" if parent is None else f"amplifier-{parent}"  # one device for all that hear this parent
        shared = [above] if draw(st.booleans()) else []
        own = shared + [f"own-{i}-{k}" for k in range(draw(st.integers(1, 3)))]
        for name in own:
            stages.setdefault(name, device(draw, name))
        place_text = {"text": f"{36 + 0.1 * i:.5f}, -84.25000", "crs": "EPSG:4326"}
        sites.append(
            pattern
            | {"id": f"s{i}", "name": f"S{i}", "position": place_text, "offset_us": 1000 * i}
            | {"fed_off_air_from": None if parent is None else f"s{parent}"}
            | {"chains": [{"route": "main", "stages": own}]}
        )
    return tree | {"stages": list(stages.values()), "sites": sites}


def walk(tree: dict[str, Any], site_id: str | None) -> list[dict[str, Any]]:
    """Every stage between the studio and a site's antenna, over its parents."""
    passed = []
    while site_id is not None:
        site = next(s for s in tree["sites"] if s["id"] == site_id)
        passed += [next(s for s in tree["stages"] if s["id"] == name) for name in site["chains"][0]["stages"]]
        site_id = site["fed_off_air_from"]
    return passed


def device_of(stage: dict[str, Any]) -> tuple[str, str, str | None]:
    """What two stages have in common if their errors are one: the model and firmware, or the very device."""
    if stage.get("tolerance_kind") == "model" and "model" in stage:
        return "model", stage["model"], stage.get("firmware")
    return "stage", stage["id"], None


def rule(a: list[dict[str, Any]], b: list[dict[str, Any]]) -> tuple[float, float]:
    """Worst case and RSS: of equal errors only the surplus of one side stays, and it is one error."""
    surplus = Counter(map(device_of, a))
    surplus.subtract(map(device_of, b))
    worth = {device_of(stage): stage.get("tolerance_us", 0.0) for stage in [*a, *b]}
    left = [worth[name] * abs(n) for name, n in surplus.items()]
    return fsum(left), sqrt(fsum(one**2 for one in left))


@given(trees())
def test_rows_and_pairs_follow_the_rule_through_the_whole_tree(tree: dict[str, Any]) -> None:
    """A row has the tolerances of all that its launch rests on, a pair only those that do not cancel."""
    network = read(json.dumps(tree))
    table = delay_table(network)
    for row in table.rows:
        passed = walk(tree, row.site_id)
        own = [stage.get("tolerance_us", 0.0) for stage in passed]
        assumed = [s.get("tolerance_us", 0.0) for s in passed if s.get("source") in (None, "assumed")]
        assert (row.tolerance_us, row.rss_us) == pytest.approx((fsum(own), rule(passed, [])[1]))
        assert row.assumed_us == pytest.approx(fsum(assumed))
        assert row.assumed_us <= row.tolerance_us + 1e-12

    for pair in pair_differences(network, table.launches(), placed=place(network)):
        expected = rule(walk(tree, pair.a), walk(tree, pair.b))
        assert (pair.tolerance_us, pair.rss_us) == pytest.approx(expected)
        assert pair.rss_us <= pair.tolerance_us + 1e-12


def test_a_relay_and_its_parent_leave_the_relays_own_stages() -> None:
    """The contracts' example: gap receives north off air, so between them only the repeater's 0.3 us stay."""
    network = example()
    found = {(p.a, p.b): p for p in pair_differences(network, delay_table(network).launches(), placed=place(network))}

    assert (found["north", "gap"].tolerance_us, found["north", "gap"].rss_us) == (0.3, 0.3)
    # South against gap: the studio's converter cancels through north; section, exciters, link and repeater stay.
    assert found["south", "gap"].tolerance_us == pytest.approx(0.2 + 0.5 + 0.3 + 1.0 + 0.5)
    assert found["south", "gap"].rss_us == pytest.approx(sqrt(0.04 + 0.25 + 0.09 + 1.0 + 0.25))


@pytest.mark.parametrize("firmware", [("1", "1"), (None, None)])
def test_models_cancel_one_to_one_and_the_least_certain_stay(firmware: tuple[str | None, str | None]) -> None:
    """Two relays in a row of one model against one: one cancels, the less certain of the two stays."""

    def change(tree: dict[str, Any]) -> None:
        for i, (tolerance, made) in enumerate(((0.2, firmware[0]), (0.7, firmware[0]), (0.4, firmware[1]))):
            stage = {"id": f"m{i}", "kind": "other", "latency_us": 1, "model": "A", "source": "measured"}
            tree["stages"].append(stage | {"date": "2026-01-01", "tolerance_kind": "model", "tolerance_us": tolerance})
            tree["stages"][-1] |= {"firmware": made} if made else {}
        for site, names in zip(tree["sites"], (["m0", "m1"], ["m2"], ["gap-repeater"]), strict=True):
            site["chains"][0]["stages"] = names

    network = example(change)
    (first, *_) = pair_differences(network, delay_table(network).launches(), placed=place(network))

    assert (first.tolerance_us, first.rss_us) == (0.7, 0.7)


def test_another_firmware_is_another_error() -> None:
    """The same model with other firmware does not cancel."""
    network = example(
        lambda tree: [tree["stages"][i].update(model="A", firmware=version) for i, version in ((4, "1"), (7, "2"))]
    )
    (first, *_) = pair_differences(network, delay_table(network).launches(), placed=place(network))

    assert first.tolerance_us == pytest.approx(0.2 + 0.5 + 1.0 + 0.5)
