"""The delay table: signs, routes, sites fed off air, limits and what is said about them."""

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, strategies as st

from sfn.errors import PlanError
from sfn.plan import Network
from sfn.timing import commissioning_of, delay_table
from tests.sfn.networks import example, field


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
    assert (
        table.problems[0].expected
        == "a common delay of 122\u202f100.4549 us or more, forced by site North ridge (main)"
    )


def test_a_setting_beyond_the_greatest_names_who_forces_it() -> None:
    """A field that is too short says how much is missing and who forces the common delay."""

    def change(tree: dict[str, Any]) -> None:
        tree["sites"][1]["delay_fields"] = tree["sites"][1]["delay_fields"][1:]

    (problem,) = delay_table(example(change)).problems
    assert problem.where == "sites[1].delay_fields[0]"
    assert problem.what == (
        "site South ridge (main) needs 106\u202f382.6682 us added, 101\u202f382.6682 us beyond the greatest that its fields can do, 5\u202f000 us"
    )
    assert problem.expected.startswith("a wider field or 100\u202f882.6682 us of delay upstream")
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


def kept(*, set_now: dict[str, float] | None = None, latency_us: float = 250_000.0) -> Callable[[dict[str, Any]], None]:
    """A standby route of the north, which feeds the gap, under a common delay that it cannot meet."""

    def change(tree: dict[str, Any]) -> None:
        tree["stages"].append({"id": "north-backup", "kind": "network", "latency_us": latency_us, "source": "assumed"})
        tail = tree["sites"][0]["chains"][0]["stages"][-2:]
        own = {} if set_now is None else {"set": set_now}
        tree["sites"][0]["chains"].append({"route": "standby", "stages": ["north-backup", *tail], **own})
        tree["common_delay"] = {"mode": "fixed", "value_us": 130_000}

    return change


def own_us(network: Network, site: int, chain: int) -> float:
    """Latency of a route's stages by hand: given figures, feeders at their velocity factor."""
    stages = {stage.id: stage for stage in network.stages}
    total = 0.0
    for name in network.sites[site].chains[chain].stages:
        stage = stages[name]
        if stage.length_m is not None:
            total += stage.length_m / (299.792458 * float(stage.velocity_factor or 1.0))
        else:
            total += float(stage.latency_us if stage.latency_us is not None else stage.release_delay_us or 0.0)
    return total


def test_a_jump_counts_the_main_settings_left_in_place_also_where_a_setting_clamps() -> None:
    """250 ms of standby cannot be set at all: listeners hear the difference of the chains, not that of the settings."""
    network = example(kept())
    table = delay_table(network)
    standby_row = table.row("north", "standby")
    wanted = own_us(network, 0, 1) - own_us(network, 0, 0)

    assert standby_row.set_us == 0.0  # clamped
    assert standby_row.jump_us == pytest.approx(wanted, abs=1e-6)
    assert dict(standby_row.jumps) == {"gap": standby_row.jump_us}
    assert {p.code: p.sites for p in table.problems if "north" in p.sites} == {
        "setting-unreachable": ("north",),
        "jump-beyond-tolerance": ("north", "gap"),  # the relay's launch moves as well
    }


def test_a_route_with_a_preset_of_its_own_goes_over_to_it() -> None:
    """A device that keeps one setting a route launches there as that route is set: only rounding is left."""
    names = [one.name for one in example().sites[0].delay_fields]
    network = example(kept(set_now=dict.fromkeys(names, 0.0), latency_us=100_000.0))
    table = delay_table(network)
    main, other = table.row("north"), table.row("north", "standby")

    assert other.jump_us == pytest.approx(other.launch_us - main.launch_us, abs=1e-9)
    assert abs(other.jump_us or 0.0) < 1.0
    assert all(p.code != "jump-beyond-tolerance" for p in table.problems)


def test_a_preset_of_one_field_leaves_the_others_with_the_main_route() -> None:
    """Only the field that the route's own setting names goes over; the finer one stays where main has it."""

    def change(tree: dict[str, Any]) -> None:
        standby(tree, set={"codec delay": 7})

    table = delay_table(example(change))
    main, other = table.row("south"), table.row("south", "standby")
    by_name = {field.name: field.set_us for field in other.fields}
    left = {field.name: field.set_us for field in main.fields}
    kept_us = by_name["codec delay"] + sum(us for name, us in left.items() if name != "codec delay")

    assert other.jump_us == pytest.approx(other.latency_us + kept_us - main.launch_us, abs=1e-9)


@pytest.mark.parametrize(
    ("preset", "slower_us"), [("exciter delay", -1500), ("exciter delay", 137), ("codec delay", 40_000)]
)
def test_a_field_without_a_preset_is_solved_where_main_has_it(preset: str, slower_us: float) -> None:
    """By trying every step of the field that goes over, the other one where the main route's table has it."""

    def change(tree: dict[str, Any]) -> None:
        standby(tree, set={preset: 0})
        tree["stages"][-1]["latency_us"] += slower_us
        tree["sites"][1]["delay_fields"] = [
            field(name="codec delay", unit="ms", greatest=2000),
            field(name="exciter delay", step=0.1, greatest=5000),
        ]

    table = delay_table(example(change))
    main, other = table.row("south"), table.row("south", "standby")
    us = {"codec delay": (1000.0, 2001), "exciter delay": (0.1, 50_001)}
    left = {one.name: one for one in main.fields if one.name != preset}
    step_us, steps_n = us[preset]
    stays_us = sum(one.set_us for one in left.values())
    best_us = min((step_us * n + stays_us for n in range(steps_n)), key=lambda total: abs(total - other.added_us))

    assert other.set_us == pytest.approx(best_us, abs=1e-6)
    assert all(one.value == left[one.name].value for one in other.fields if one.name in left)
    assert other.jump_us == pytest.approx(other.latency_us + best_us - main.launch_us, abs=1e-6)
    assert other.launch_us == pytest.approx(other.latency_us + best_us, abs=1e-6)
    assert other.headroom_us == pytest.approx(step_us * (steps_n - 1) + stays_us - best_us, abs=1e-6)


def test_a_change_is_against_the_setting_of_the_route_itself() -> None:
    """What a technician turns on a route counts from what that route is set to."""
    row = delay_table(example(lambda tree: standby(tree, set={"codec delay": 7}))).row("south", "standby")
    codec = next(field for field in row.fields if field.name == "codec delay")

    assert (codec.before, codec.change) == (7.0, codec.value - 7.0)
    assert row.change_us == pytest.approx(sum((f.change or 0.0) * (1000 if f.unit == "ms" else 1) for f in row.fields))


def gaps(tree: dict[str, Any]) -> None:
    """The north gets a codec of whole milliseconds and a fine field of a quarter of one; 900 us are needed."""
    tree["sites"][0]["delay_fields"] = [
        field(name="codec", unit="ms", greatest=2000),
        field(name="exciter", step=0.1, greatest=250),
    ]
    tree["common_delay"] = {"mode": "automatic", "margin_us": 900}
    tree["sites"] = tree["sites"][:2]


def test_what_whole_steps_leave_is_named_with_what_would_cure_it() -> None:
    """100 us too late is an error, and the common delay that is offered meets every wish when it is taken."""
    table = delay_table(example(gaps))
    (problem,) = table.problems

    assert problem.code == "rounding-above-tolerated"
    assert (problem.severity, problem.sites, problem.routes) == ("error", ("north",), ("main",))
    assert problem.fields == ("codec", "exciter")
    assert problem.values["rounding_us"] == pytest.approx(100.0, abs=1e-6)
    assert table.reachable is not None
    assert "common delay" in problem.expected

    offered = table.reachable.common_delay_us
    again = delay_table(
        example(lambda tree: (gaps(tree), tree.update(common_delay={"mode": "fixed", "value_us": offered})))
    )
    assert not again.problems
    assert table.reachable.offsets == {}
    assert all(abs(row.rounding_us) <= row.step_us / 2 + 1e-9 for row in again.rows)


def test_the_offered_common_delay_is_the_nearest() -> None:
    """Every common delay nearer to the present one, in steps of 0.05 us, leaves some site more than half a step."""
    table = delay_table(example(gaps))
    assert table.reachable is not None
    present, offered = table.common_delay_us, table.reachable.common_delay_us
    north, south = table.row("north"), table.row("south")

    def met(common_us: float) -> bool:
        """Whether both devices come within half a step: 1 ms and 0 to 250 us in 0.1 us; 1 ms and 0 to 5 ms."""
        added = north.added_us + common_us - present
        return added % 1000 <= 250.05 or added % 1000 >= 999.95

    assert south.rounding_us == pytest.approx(0.0, abs=0.05)
    assert met(offered)
    assert not any(met(present + n * 0.05) for n in range(int((offered - 1 - present) / 0.05)))


def test_a_relay_is_offered_an_offset_where_no_common_delay_helps() -> None:
    """Its device goes in whole milliseconds: the offset that it can have is offered, and meets its wish."""

    def change(tree: dict[str, Any]) -> None:
        tree["sites"][2]["delay_fields"] = [field(unit="ms", greatest=10), field(name="fine", step=0.1, greatest=5)]
        tree["sites"][2]["offset_us"] = 60

    table = delay_table(example(change))
    row = table.row("gap")
    assert row.rounding_us == pytest.approx(5.0 - row.added_us)  # 14.6 wanted, 5 is the most below a millisecond
    assert table.reachable is not None
    assert list(table.reachable.offsets) == ["gap"]
    assert table.reachable.common_delay_us == table.common_delay_us
    offered = table.reachable.offsets["gap"]

    again = delay_table(example(lambda tree: (change(tree), tree["sites"][2].update(offset_us=offered))))
    assert abs(again.row("gap").rounding_us) <= 0.05 + 1e-9
    held = delay_table(example(lambda tree: (change(tree), tree["sites"][2].update(offset_held=True))))
    assert held.reachable is None


@pytest.mark.parametrize(("tolerated", "codes"), [(0.2, ["rounding-above-tolerated"]), (0.25, []), (0.3, [])])
def test_half_a_step_is_no_problem_unless_more_than_is_tolerated(tolerated: float, codes: list[str]) -> None:
    """Exactly half of the finest step stays: only a stricter work order makes it one."""

    def change(tree: dict[str, Any]) -> None:
        tree["sites"] = tree["sites"][:1]
        tree["sites"][0]["delay_fields"] = [field(step=0.5)]
        tree["stages"] = [
            {"id": "only", "kind": "other", "latency_us": 1000, "tolerance_us": 1, "source": "data sheet"}
        ]
        tree["sites"][0]["chains"] = [{"route": "main", "stages": ["only"]}]
        tree["common_delay"] = {"mode": "automatic", "margin_us": 500.25}
        tree["work_order"] = {"tolerated_error_us": tolerated}

    table = delay_table(example(change))

    assert table.row("north").rounding_us == 0.25
    assert [problem.code for problem in table.problems] == codes


def test_more_than_half_a_step_below_the_tolerated_error_is_a_warning() -> None:
    """A gap that leaves less than is tolerated does not withhold anything, but is said."""

    def change(tree: dict[str, Any]) -> None:
        gaps(tree)
        tree["work_order"] = {"tolerated_error_us": 150}

    (problem,) = delay_table(example(change)).problems
    assert (problem.code, problem.severity) == ("rounding-left", "warning")


@pytest.mark.parametrize(
    ("margin_us", "code"),
    [(100.0, []), (100.49, []), (100.5, []), (100.51, ["setting-unreachable"])],
)  # fmt: skip
def test_half_a_step_beyond_a_limit_is_still_its_limit(margin_us: float, code: list[str]) -> None:
    """The greatest setting serves what rounds to it; beyond that the field is too short, with the figures said."""

    def change(tree: dict[str, Any]) -> None:
        tree["sites"] = tree["sites"][:1]
        tree["sites"][0]["delay_fields"] = [field(greatest=100, least=-1000)]
        tree["stages"] = [
            {"id": "only", "kind": "other", "latency_us": 1000, "tolerance_us": 1, "source": "data sheet"}
        ]
        tree["sites"][0]["chains"] = [{"route": "main", "stages": ["only"]}]
        tree["common_delay"] = {"mode": "fixed", "value_us": 1000 + margin_us}
        tree["work_order"] = {"tolerated_error_us": 0.6}

    table = delay_table(example(change))
    found = [p for p in table.problems if p.code != "headroom-low"]

    assert [p.code for p in found] == code
    if found:
        assert found[0].values == pytest.approx({"needed_us": 100.51, "limit_us": 100.0, "beyond_us": 0.51})
        assert found[0].touches[0].site == "north"


@pytest.mark.parametrize(("margin_us", "low"), [(949.0, False), (950.0, False), (951.0, True), (1000.0, True)])
def test_headroom_is_low_below_a_twentieth_of_the_range(margin_us: float, low: bool) -> None:
    """5 % of 1,000 us are 50: less than that is said."""

    def change(tree: dict[str, Any]) -> None:
        tree["sites"] = tree["sites"][:1]
        tree["sites"][0]["delay_fields"] = [field(greatest=1000)]
        tree["stages"] = [
            {"id": "only", "kind": "other", "latency_us": 1000, "tolerance_us": 1, "source": "data sheet"}
        ]
        tree["sites"][0]["chains"] = [{"route": "main", "stages": ["only"]}]
        tree["common_delay"] = {"mode": "fixed", "value_us": 1000 + margin_us}

    found = delay_table(example(change)).problems
    assert [p.code for p in found] == (["headroom-low"] if low else [])
    if low:
        assert found[0].values["headroom_us"] == 1000 - margin_us
        assert f"{1000 - margin_us:g} us are left" in found[0].what


def test_an_unknown_present_value_is_no_zero() -> None:
    """Nothing stands in for it: not in the row, not in what it feeds, not in launches as set."""

    def change(tree: dict[str, Any]) -> None:
        tree["sites"][0]["delay_fields"][0]["set"] = None

    table = delay_table(example(change))
    north, gap = table.row("north"), table.row("gap")

    assert (north.now_us, north.change_us, north.launch_now_us) == (None, None, None)
    assert (north.fields[0].before, north.fields[0].change) == (None, None)
    assert gap.now_us == 0.0
    assert gap.launch_now_us is None  # it launches with its parent
    assert table.row("south").launch_now_us is not None
    (problem,) = table.problems
    assert (problem.code, problem.severity, problem.sites) == ("present-value-unknown", "warning", ("north",))
    assert table.launches() == delay_table(example()).launches()
    with pytest.raises(PlanError) as refused:
        table.launches(as_set=True)
    assert {p.sites[0] for p in refused.value.problems} == {"north", "gap"}


def test_an_unknown_sign_is_said_and_hides_what_is_set_now() -> None:
    """With a sign that nobody knows, only a present value of zero is worth anything."""

    def change(value: float) -> Callable[[dict[str, Any]], None]:
        return lambda tree: tree["sites"][1]["delay_fields"][0].update(sign="unknown", set=value)

    zero, some = (delay_table(example(change(value))) for value in (0.0, 5.0))

    assert [p.code for p in zero.problems] == ["device-sign-unknown"]
    assert zero.problems[0].touching("south", "main")
    assert zero.row("south").now_us == 0.0
    assert some.row("south").now_us is None


def test_a_site_that_cannot_be_read_leaves_the_others() -> None:
    """A field without a known unit: the site is missing with its fault, the others keep figures to the last digit."""

    def change(tree: dict[str, Any]) -> None:
        tree["sites"][0]["delay_fields"][0]["unit"] = "unknown"

    whole, table = delay_table(example()), delay_table(example(change))

    assert [(one.site_id, one.whose) for one in table.missing] == [("north", "north"), ("gap", "north")]
    assert [p.code for p in table.problems] == ["device-unit-unknown", "parent-missing"]
    assert table.problems[1].values["whose"] == "north"
    assert table.row("south") == whole.row("south")
    assert table.common_delay_us == whole.common_delay_us
    assert list(table.known_launches()) == ["south"]
    for ask in (table.launches, lambda: table.row("gap")):
        with pytest.raises(PlanError):
            ask()


def test_a_relay_without_a_readable_parent_is_missing_by_its_fault() -> None:
    """The parent itself needs no position for its delay; the path to what it feeds does."""
    table = delay_table(example(lambda tree: tree["sites"][0].update(position={"text": "somewhere"})))

    assert [(one.site_id, one.whose) for one in table.missing] == [("gap", "north")]
    assert "North ridge" in table.problems[0].what
    assert {row.site_id for row in table.rows} == {"north", "south"}

    own = delay_table(example(lambda tree: tree["sites"][2].update(position={"text": "somewhere"})))
    assert [(one.site_id, one.whose) for one in own.missing] == [("gap", "gap")]
    assert not own.problems  # the position itself is said by who reads positions


def test_limits_without_a_step_between_them_are_an_error() -> None:
    """No whole step from 0.3 to 0.7: the field cannot be set, and nobody is told to set it."""
    table = delay_table(
        example(
            lambda tree: tree["sites"][0].update(delay_fields=[field(), field(name="odd", least=0.3, greatest=0.7)])
        )
    )
    assert [p.code for p in table.problems] == ["field-without-steps"]


def test_a_commissioning_setting_of_a_row_launches_as_the_row() -> None:
    """The south: 106 ms and 382.7 us become 104 ms and 2,382.7 us, the same to the last step, with room to try."""
    network = example()
    row = delay_table(network).row("south")
    found = commissioning_of(network.sites[1].delay_fields, row.fields)

    assert {one.name: one.value for one in found.settings} == {"codec delay": 104.0, "exciter delay": 2382.7}
    assert float(found.total) == row.set_us
    assert (found.earlier_us, found.later_us) == (2382.7, 2617.3)


def test_a_service_that_is_not_known_leaves_the_delays() -> None:
    """Delays need no service; what is tolerated is not known then, and only half steps can be judged."""
    table = delay_table(example(lambda tree: (gaps(tree), tree.update(service="nothing known"))))

    assert [p.code for p in table.problems] == ["rounding-left"]
    assert table.problems[0].values["tolerated_us"] is None
    assert table.row("south").set_us == delay_table(example(gaps)).row("south").set_us


def only(tree: dict[str, Any], fields: list[dict[str, Any]], common_us: float) -> None:
    """One site of 1,000 us with these fields under a fixed common delay."""
    tree["sites"] = tree["sites"][:1]
    tree["sites"][0]["delay_fields"] = fields
    tree["stages"] = [{"id": "only", "kind": "other", "latency_us": 1000, "tolerance_us": 1, "source": "data sheet"}]
    tree["sites"][0]["chains"] = [{"route": "main", "stages": ["only"]}]
    tree["common_delay"] = {"mode": "fixed", "value_us": common_us}


def test_staying_on_the_coarse_setting_stands_beside_the_nearest() -> None:
    """A thirtieth of a microsecond is not worth turning a codec: the setting that leaves it alone is offered."""
    coarse = field(name="codec", unit="samples@48000", greatest=100_000, set=48)
    table = delay_table(example(lambda tree: only(tree, [coarse, field(name="fine", step=0.1, greatest=500)], 2000.05)))
    row = table.row("north")

    assert abs(row.rounding_us) == pytest.approx(1 / 60)  # steps of 625/30 and 3/30 us: every thirtieth is reached
    assert row.fields[0].value != 48
    assert row.alternative is not None
    assert [one.value for one in row.alternative.fields] == [48.0, 0.1]
    assert row.alternative.set_us == 1000.1
    assert row.alternative.rounding_us == pytest.approx(0.05)
    assert "codec at 48 samples@48000 may stay as set now" in row.alternative.words
    assert not table.problems

    # Where the nearest setting leaves the codec alone anyway there is no other.
    plain = delay_table(example(lambda tree: only(tree, [coarse, field(name="fine", step=0.1, greatest=500)], 2000.1)))
    assert plain.row("north").fields[0].value == 48
    assert plain.row("north").alternative is None


@pytest.mark.parametrize(("greatest", "expected"), [
    (100, "a common delay of 1\u202f000 us or less (1\u202f000 us is the least that works)"),
    (99, "a wider field or 1 us of delay upstream: the least common delay that works is 1\u202f000 us, forced by site North "
         "ridge (main)"),
])  # fmt: skip
def test_a_common_delay_that_just_fits_is_offered_before_a_wider_field(greatest: float, expected: str) -> None:
    """Two sites of 1,000 and 900 us: with 100 us of field the least common delay serves both, with 99 it does not."""

    def change(tree: dict[str, Any]) -> None:
        tree["sites"] = tree["sites"][:2]
        tree["stages"] = []
        for site, latency_us, most in zip(tree["sites"], (1000, 900), (5000, greatest), strict=True):
            stage = {"id": f"{site['id']}-all", "kind": "other", "latency_us": latency_us, "tolerance_us": 1}
            tree["stages"].append(stage | {"source": "data sheet"})
            site.update(
                chains=[{"route": "main", "stages": [stage["id"]]}], delay_fields=[field(greatest=most)], offset_us=0
            )
        tree["common_delay"] = {"mode": "fixed", "value_us": 1300}

    table = delay_table(example(change))
    (problem,) = [p for p in table.problems if p.code == "setting-unreachable"]
    assert problem.expected == expected
    assert (table.reachable is None) is (greatest == 99)


@pytest.mark.parametrize(("standby_us", "said"), [(1005.0, False), (1005.001, True), (995.0, False), (994.999, True)])
def test_a_jump_is_said_where_it_is_more_than_the_service_bears(standby_us: float, said: bool) -> None:
    """FM stereo bears 5 us either way: a jump of just that is borne."""

    def change(tree: dict[str, Any]) -> None:
        only(tree, [field(step=0.001)], 2000.0)
        tree["stages"].append(tree["stages"][0] | {"id": "other", "latency_us": standby_us})
        tree["sites"][0]["chains"].append({"route": "standby", "stages": ["other"]})

    table = delay_table(example(change))
    assert table.row("north", "standby").jump_us == pytest.approx(standby_us - 1000.0)
    assert [p.code for p in table.problems] == (["jump-beyond-tolerance"] if said else [])


def test_offsets_are_offered_where_gaps_meet_at_no_common_delay() -> None:
    """Two devices whose gaps exclude each other, and relays of relays: with the offered offsets every wish is met."""
    coarse_and_short = [field(name="codec", unit="ms", greatest=2000), field(name="fine", step=0.1, greatest=250)]

    def change(tree: dict[str, Any]) -> None:
        tree["stages"] = []
        for site, latency_us in zip(tree["sites"], (1000, 1500, 7.5), strict=True):
            stage = {"id": f"{site['id']}-all", "kind": "other", "latency_us": latency_us, "tolerance_us": 1}
            tree["stages"].append(stage | {"source": "data sheet"})
            site.update(chains=[{"route": "main", "stages": [stage["id"]]}], delay_fields=coarse_and_short, offset_us=0)
        tree["common_delay"] = {"mode": "fixed", "value_us": 3100}  # the north needs 2,100 us, the south 1,600
        gap = tree["sites"][2]
        gap["offset_us"] = 480
        far = gap | {"id": "far", "name": "Far", "fed_off_air_from": "gap", "position": {"text": "36.3000, -84.1500"}}
        tree["sites"].append(far | {"offset_us": 900, "chains": [{"route": "main", "stages": ["gap-all"]}]})

    table = delay_table(example(change))
    assert table.reachable is not None
    assert table.reachable.common_delay_us == 3100
    assert "south" in table.reachable.offsets
    assert "north" not in table.reachable.offsets
    offered = table.reachable.offsets

    def taken(tree: dict[str, Any]) -> None:
        change(tree)
        for site in tree["sites"]:
            site["offset_us"] = offered.get(site["id"], site["offset_us"])

    again = delay_table(example(taken))
    assert {"rounding-above-tolerated", "rounding-left", "setting-unreachable"}.isdisjoint(
        p.code for p in again.problems
    )
    for row in again.rows:
        before = next(site.offset_us for site in example(change).sites if site.id == row.site_id)
        assert abs(row.rounding_us) <= 0.05 + 1e-9
        assert abs(row.offset_us - before) <= abs(table.row(row.site_id).rounding_us) + 1e-9
