"""The delay table: signs, routes, sites fed off air, limits and what is said about them."""

from typing import Any

import pytest
from hypothesis import given, strategies as st

from sfn.timing import delay_table
from tests.sfn.networks import example


def standby(tree: dict[str, Any], latency_us: float = 20_000.0, **chain: Any) -> None:
    """Give the south a standby route with one stage."""
    tree["stages"].append({"id": "south-backup", "kind": "network", "latency_us": latency_us, "source": "assumed"})
    tree["sites"][1]["chains"].append(
        {"route": "standby", "stages": ["south-backup", "south-exciter", "south-feeder"], **chain}
    )


def test_every_row_obeys_the_equation() -> None:
    """Added = common + offset - latency, rounding = set - added, launch = latency + set, in every row."""
    table = delay_table(example(standby))
    for row in table.rows:
        assert row.added_us == pytest.approx(table.common_delay_us + row.offset_us - row.latency_us, abs=1e-9)
        assert row.rounding_us == pytest.approx(row.set_us - row.added_us, abs=1e-9)
        assert row.launch_us == pytest.approx(row.latency_us + row.set_us, abs=1e-9)
        assert row.change_us == pytest.approx(row.set_us - row.now_us, abs=1e-9)
        assert row.latency_us == pytest.approx(sum(term.signed_us for term in row.latency_terms), abs=1e-6)


def test_rows_stand_in_document_order() -> None:
    """One row per route, sites and routes as the document has them."""
    table = delay_table(example(standby))

    assert [("north", "main"), ("south", "main"), ("south", "standby"), ("gap", "main")] == [
        (r.site_id, r.route) for r in table.rows
    ]


def test_a_standby_route_jumps_by_what_its_chain_is_longer() -> None:
    """With the main route's setting left in place, the launch moves by the difference of the chains."""
    table = delay_table(example(standby))
    main, other = table.row("south"), table.row("south", "standby")

    assert other.jump_us == pytest.approx(other.latency_us + main.set_us - main.launch_us, abs=1e-9)
    assert main.jump_us is None
    assert main.pad_us == pytest.approx(other.latency_us - main.latency_us, abs=1e-9)
    assert other.pad_us == 0.0


def test_a_standby_route_counts_for_the_common_delay() -> None:
    """The slowest route of all, standby or main, forces the common delay."""
    table = delay_table(example(lambda tree: standby(tree, 200_000)))

    assert ("south", "standby") == table.forced_by
    assert table.common_delay_us == pytest.approx(
        200_000 + 1_250 + table.row("south").own.stage_us[-1].__float__() + 12.5 + 500, abs=1e-6
    )


def test_a_route_may_keep_a_setting_of_its_own() -> None:
    """What is set now may differ from route to route."""
    table = delay_table(example(lambda tree: standby(tree, set={"codec delay": 7})))

    assert table.row("south", "standby").now_us == 7_000.0
    assert table.row("south").now_us == 0.0


def test_a_site_off_the_air_forces_nothing() -> None:
    """The common delay listens to sites on air only."""

    def change(tree: dict[str, Any]) -> None:
        tree["sites"][0]["on_air"] = False
        tree["sites"][2]["on_air"] = False

    assert ("south", "main") == delay_table(example(change)).forced_by


def test_no_common_delay_helps_a_site_fed_off_air() -> None:
    """An offset below the parent's launch and the path is refused with the least that works."""
    table = delay_table(example(lambda tree: tree["sites"][2].update(offset_us=20)))

    (problem,) = table.problems
    assert problem.where == "sites[2].delay_fields[0]"
    assert problem.expected == "an offset of 45.3782 us or more: no common delay helps a site fed off air"


def test_a_fixed_common_delay_that_is_too_short_names_what_works() -> None:
    """The least common delay that works and the site that forces it are told."""
    table = delay_table(example(lambda tree: tree.update(common_delay={"mode": "fixed", "value_us": 100_000})))

    assert table.problems[0].where == "sites[0].delay_fields[0]"
    assert table.problems[0].expected == "a common delay of 122100.4549 us or more, forced by site North ridge (main)"


def test_a_setting_beyond_the_greatest_names_who_forces_it() -> None:
    """A field that is too short says how much is missing and who forces the common delay."""

    def change(tree: dict[str, Any]) -> None:
        tree["sites"][1]["delay_fields"] = tree["sites"][1]["delay_fields"][1:]

    (problem,) = delay_table(example(change)).problems
    assert problem.where == "sites[1].delay_fields[0]"
    assert problem.what == (
        "site South ridge (main) needs 106382.6682 us added, 101382.6682 us beyond the greatest that its fields can do, 5000 us"
    )
    assert problem.expected.startswith("a wider field or 100882.6682 us of delay upstream")
    assert problem.expected.endswith("forced by site North ridge (main)")


@given(st.floats(-1000, 1000), st.floats(0, 10_000))
def test_moving_every_offset_alike_moves_no_difference(shift_us: float, margin_us: float) -> None:
    """Only differences of launch times matter: a shift of all offsets cancels."""

    def change(tree: dict[str, Any]) -> None:
        tree["common_delay"]["margin_us"] = margin_us
        for site in tree["sites"]:
            site["offset_us"] += shift_us
            site["delay_fields"] = [
                {"name": "d", "unit": "us", "step": 1e-4, "least": -1e6, "greatest": 2e6, "sign": "later", "set": 0}
            ]

    plain, moved = delay_table(example()), delay_table(example(change))
    exact_before, exact_after = (
        [t.row(site).added_us + t.row(site).latency_us for site in ("north", "south")] for t in (plain, moved)
    )

    assert exact_after[1] - exact_after[0] == pytest.approx(exact_before[1] - exact_before[0], abs=1e-6)


def test_headroom_is_what_all_fields_can_still_add() -> None:
    """All fields at their greatest, minus what is set; without the finest, which fills one coarse step only, apart."""
    table = delay_table(example())
    south = table.row("south")

    assert south.headroom_us == pytest.approx(2_000_000 + 5_000 - 106_382.7)
    assert south.coarse_headroom_us == pytest.approx(2_000_000 - 106_000)
    assert table.row("north").headroom_us == pytest.approx(2_000_000 - 500)
