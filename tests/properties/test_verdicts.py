"""Any withholding doubt that touches a site means no issued sheet of it, and no doubt of strangers withholds one.

Networks are drawn: relays of relays, standby routes, sites that change nothing, sites that do not transmit. Doubts are
laid on them at random, and what must follow is worked out here from the rule, not by the code under test.
"""

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from sfn.check import all_problems
from sfn.check.doubts import DOUBTS
from sfn.check.review import Review, review
from sfn.errors import Problem, Touch
from sfn.plan import Network
from sfn.timing import delay_table
from tests.sfn.networks import example, field

WITHHOLDING = ("buffer-underrun", "waveform-differs", "relay-oscillates", "setting-unreachable", "a-new-check")
SIGNED = ("figure-outdated", "relay-figures-missing")


@st.composite
def networks(draw: st.DrawFn) -> Network:
    """Two to six sites on a line, each fed by a chain of its own or off air from an earlier one."""
    size = draw(st.integers(2, 6))
    tree_sites: list[dict[str, Any]] = []
    stages = []
    for n in range(size):
        parent = draw(st.sampled_from([None, *range(n)])) if n else None
        routes = ["main", "standby"] if draw(st.booleans()) else ["main"]
        for route in routes:
            latency = draw(st.integers(0, 5000))
            stages.append({"id": f"s{n}-{route}", "kind": "other", "latency_us": latency, "source": "measured",
                           "date": "2026-01-02", "tolerance_us": 0})  # fmt: skip
        tree_sites.append(
            {
                "id": f"s{n}", "name": f"Site {n}", "ground_m": 100, "antenna_m": 30, "erp_kw": {"h": 1.0},
                "position": {"text": f"36.{n:05d}0, -84.100000"},
                "on_air": draw(st.booleans()),
                "offset_us": 10_000 * n,
                "fed_off_air_from": None if parent is None else f"s{parent}",
                "delay_fields": [field(step=0.0001, least=-1_000_000, greatest=1_000_000)],
                "chains": [{"route": r, "stages": [f"s{n}-{r}"]} for r in routes],
            }
        )  # fmt: skip
    fixed = draw(st.booleans())
    common = {"mode": "fixed", "value_us": 9000} if fixed else {"mode": "automatic", "margin_us": 0}

    def build(tree: dict[str, Any]) -> None:
        """The drawn network instead of the example's."""
        tree.update(stages=stages, sites=tree_sites, common_delay=common)

    made = example(build)
    for row in delay_table(made).rows:
        if row.route == "main" and draw(st.booleans()):  # this site stands already where it should
            tree_sites[int(row.site_id[1:])]["delay_fields"][0]["set"] = row.fields[0].value
    return example(build)


@st.composite
def cases(draw: st.DrawFn) -> tuple[Network, tuple[Problem, ...]]:
    """A network and doubts about some of its sites and routes."""
    network = draw(networks())
    routes = [Touch(s.id, r) for s in network.sites for r in (None, *(c.route for c in s.chains))]
    doubts = st.builds(
        lambda code, touches: Problem("sites", f"{code} there", "no such thing", code=code, touches=tuple(touches)),
        st.sampled_from([*WITHHOLDING, *SIGNED]),
        st.lists(st.sampled_from(routes), min_size=1, max_size=2),
    )
    return network, tuple(draw(st.lists(doubts, max_size=3)))


def expected_withheld(network: Network, problems: tuple[Problem, ...]) -> dict[str, set[str]]:
    """For each withheld site the sites whose doubt it may be, by the rule of the issue's table."""
    table = delay_table(network)
    main = {r.site_id: r for r in table.rows if r.route == "main"}
    now = {s.id: s.delay_fields[0].set for s in network.sites}
    grave = [p for p in problems if p.code in WITHHOLDING]
    hit = {(t.site, t.route) for p in grave for t in p.touches}
    causes: dict[str, set[str]] = {s.id: set() for s in network.sites}
    for s in network.sites:
        if (s.id, None) in hit or (s.id, "main") in hit:
            causes[s.id].add(s.id)
    slowest, route = table.forced_by
    # Signals that differ are no doubt about how long they take.
    late = {(t.site, t.route) for p in grave if p.code != "waveform-differs" for t in p.touches}
    if network.common_delay.mode == "automatic" and ((slowest, None) in late or (slowest, route) in late):
        for s in network.sites:
            if s.id != slowest or route != "main":
                causes[s.id].add(slowest)

    def feed() -> None:
        """From parents to relays, however deep."""
        for _ in network.sites:
            for s in network.sites:
                if s.fed_off_air_from is not None:
                    causes[s.id] |= causes[s.fed_off_air_from]

    feed()
    release = [s.id for s in network.sites if s.on_air and main[s.id].fields[0].value != now[s.id]]
    together = set().union(*(causes[name] for name in release)) if release else set()
    for name in release:
        causes[name] |= together
    feed()
    return {name: whose for name, whose in causes.items() if whose}


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(cases())
def test_a_sheet_is_withheld_exactly_when_a_doubt_reaches_it(case: tuple[Network, tuple[Problem, ...]]) -> None:
    """Own doubts, the parent's, the slowest site's, the release's; nobody else's; and the reason names whose it is."""
    network, problems = case
    found = review(network, problems=problems)
    expected = expected_withheld(network, problems)

    assert set(expected) == {s.id for s in network.sites if found.of(s.id).state == "withheld"}
    for site, whose in expected.items():
        for reason in found.of(site).because("withheld"):
            assert reason.whose in whose
            if reason.whose != site:
                assert f"Site {reason.whose[1:]} is withheld" in reason.problem.what


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(cases(), st.booleans())
def test_every_reason_touches_its_site_and_names_whose_doubt_it_is(
    case: tuple[Network, tuple[Problem, ...]], of_document: bool
) -> None:
    """As data, not in words: also where it came by way of a parent, the slowest site, the release or the document."""
    network, problems = case
    everybodys = Problem("stages", "is not there", "a stage", code="stamp-plane-no-stage")
    found = review(network, problems=(*problems, everybodys) if of_document else problems)

    for (site, route), verdict in found.verdicts.items():
        for reason in verdict.reasons:
            assert reason.problem.touching(site), (site, route, reason)
            assert reason.whose in ("", *reason.problem.sites), (site, route, reason)
            assert (reason.whose == "") <= (set(reason.problem.sites) == {one.id for one in network.sites})
            # the doubt itself stands there, never a chain of what followed from it
            assert reason.problem.what.count(" is withheld") <= 1


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(cases())
def test_a_faulty_standby_wants_a_sign_off_on_a_sound_main(case: tuple[Network, tuple[Problem, ...]]) -> None:
    """Where only the standby is hit, the sheet goes out with a name, and the standby entry itself is withheld."""
    network, problems = case
    found = review(network, problems=problems)
    grave = {(t.site, t.route) for p in problems if p.code in WITHHOLDING for t in p.touches}
    for site in network.sites:
        if (site.id, "standby") not in grave or not any(c.route == "standby" for c in site.chains):
            continue
        assert "withheld" == found.of(site.id, "standby").state
        if found.of(site.id).state != "withheld":
            assert "standby-faulty" in found.of(site.id).codes


def own(site: str, code: str, **values: float) -> Problem:
    """A doubt about one site."""
    return Problem("sites", code, "", "warning", code=code, touches=(Touch(site),), values=values)


def known(tree: dict[str, Any]) -> None:
    """Every latency measured, to a hundredth of a microsecond: no figure of the example's own is in doubt then."""
    for stage in tree["stages"]:
        stage.update(source="measured", date="2026-05-02", tolerance_us=0.01)


def reviewed(*problems: Problem) -> Review:
    """The example, well measured, with doubts."""
    return review(example(known), problems=problems)


@pytest.mark.parametrize(
    ("worth_us", "state"), [(0.0999, "fit"), (0.1, "sign-off"), (0.5, "sign-off"), (0.5001, "withheld")]
)
def test_a_doubtful_position_weighs_by_what_it_is_worth(worth_us: float, state: str) -> None:
    """The example tolerates 0.5 us: from a tenth on somebody signs, above it nothing goes out."""
    found = reviewed(own("north", "position-coarse", doubt_us=worth_us))

    assert state == found.of("north").state


def test_an_error_without_a_site_is_everybodys() -> None:
    """A document whose service is not known lets no sheet out."""
    found = reviewed(Problem("service", "is not known", "another", code="service-unknown"))

    assert {"withheld"} == {found.of(site).state for site in ("north", "south", "gap")}


def test_small_assumptions_are_said_and_large_ones_signed() -> None:
    """45 m of assumed feeder, 0.18 us, go out once somebody says how wrong they may be; a millisecond is a first try."""
    assert ("fit", False) == (reviewed().of("south").state, reviewed().of("south").commissioning)

    def judged(stage: int, tolerance_us: float | None) -> tuple[str, bool, tuple[str, ...]]:
        """The south with one stage that is only assumed."""

        def assumed(tree: dict[str, Any]) -> None:
            """Nobody measured it."""
            known(tree)
            tree["stages"][stage] |= {"source": "assumed", "tolerance_us": tolerance_us}

        found = review(example(assumed), problems=())
        assert "fit" == found.of("north").state
        return found.of("south").state, found.of("south").commissioning, found.of("south").codes

    feeder, exciter = 8, 7
    assert judged(feeder, 0.05) == ("fit", False, ())
    for unstated in (None, 0.0):
        assert judged(feeder, unstated) == ("sign-off", False, ("assumed-without-tolerance",))
        assert judged(exciter, unstated) == ("sign-off", True, ("assumed-above-tolerated",))


@pytest.mark.parametrize(
    ("stages", "state"),
    [
        ({"south-link": (0.48, "unit")}, "fit"),  # with the exciter's and the feeder's hundredth: the tolerated 0.5 us
        ({"south-link": (0.49, "unit")}, "sign-off"),
        ({"south-link": (6000, "restart")}, "sign-off"),
        ({"south-link": (0.3, "unit"), "south-exciter": (0.3, "model")}, "sign-off"),
        ({"studio-converter": (2.0, "model")}, "fit"),  # all three pass it: it moves all alike
    ],
)
def test_a_tolerance_wider_than_the_tolerated_error_is_a_first_try(stages: dict[str, Any], state: str) -> None:
    """Measured, or from a data sheet, but not as near as is tolerated: set, measure, correct; said of restarts too."""

    def wide(tree: dict[str, Any]) -> None:
        """Some stages less well known."""
        known(tree)
        for stage in tree["stages"]:
            if stage["id"] in stages:
                stage["tolerance_us"], stage["tolerance_kind"] = stages[stage["id"]]

    south = review(example(wide), problems=()).of("south")
    assert (south.state, south.commissioning) == (state, state == "sign-off")
    reasons = [reason for reason in south.reasons if reason.code == "tolerance-above-tolerated"]
    assert len(reasons) == (state == "sign-off")
    for reason in reasons:
        assert reason.problem.values["tolerance_us"] == pytest.approx(
            sum(value for value, _ in stages.values()) + 0.01 * (3 - len(stages))
        )
        assert ("every restart of south-link may move it" in reason.problem.what) == (
            ("south-link" in stages) and stages["south-link"][1] == "restart"
        )


def test_what_all_share_is_said_and_withholds_nothing() -> None:
    """2 us of the studio's converter against 0.5: every reading may be off by it, no two sites against each other."""

    def shared(tree: dict[str, Any]) -> None:
        """The converter's own tolerance, all else known."""
        known(tree)
        tree["stages"][0]["tolerance_us"] = 2

    found = review(example(shared), problems=())
    for site in ("north", "south", "gap"):
        said = [reason.problem.values for reason in found.of(site).because("remark")]
        assert [{"tolerance_us": 2.0, "tolerated_us": 0.5}] == said
        assert found.of(site).state == "fit"


def test_what_a_time_stamp_covers_moves_no_launch() -> None:
    """The network inside north's section may be off by milliseconds; and a relay is as uncertain as its parent."""

    def wide(tree: dict[str, Any]) -> None:
        """The stage inside, then the exciter of the parent."""
        known(tree)
        tree["stages"][2]["tolerance_us"] = 3000

    assert "fit" == review(example(wide), problems=()).of("north").state

    def parent(tree: dict[str, Any]) -> None:
        """North's exciter."""
        known(tree)
        tree["stages"][4]["tolerance_us"] = 0.6

    found = review(example(parent), problems=())
    assert ["sign-off", "fit", "sign-off"] == [found.of(site).state for site in ("north", "south", "gap")]


def test_every_doubt_says_why() -> None:
    """The table that the trust page prints has a sentence for each code."""
    for code, doubt in DOUBTS.items():
        assert code == code.lower().strip()
        assert len(doubt.why) >= 10


def unit_unknown(tree: dict[str, Any]) -> None:
    """Nobody knows in what unit the gap's field counts, and the relay oscillates besides."""
    tree["sites"][2]["delay_fields"][0]["unit"] = "unknown"
    tree["sites"][2]["off_air"] = {"receiving_gain_dbd": 9, "transmitting_gain_dbd": 3, "isolation_db": 20}


def clamped(tree: dict[str, Any]) -> None:
    """The south's fields stand at their greatest, 51 ms short of what is needed."""
    codec, exciter = tree["sites"][1]["delay_fields"]
    codec.update(greatest=50, set=50)
    exciter.update(set=5000)


def without_field(tree: dict[str, Any]) -> None:
    """The south has nothing to set its delay with."""
    tree["sites"][1]["delay_fields"] = []


def relay_clamped(tree: dict[str, Any]) -> None:
    """The relay would have to launch before its parent's signal is there; it stands at its least already."""
    tree["sites"][2]["offset_us"] = 40


@pytest.mark.parametrize("change", [unit_unknown, clamped, without_field, relay_clamped])
def test_a_site_that_cannot_be_set_as_it_must_holds_back_all_that_change(change: Any) -> None:
    """Also where its field stands at its limit now, or nobody knows what it would be set to."""
    network = example(change)
    found = review(network, problems=all_problems(network))

    assert {"withheld"} == {found.of(site).state for site in ("north", "south", "gap")}


def test_a_standby_that_wants_a_sign_off_wants_it_of_the_sheet() -> None:
    """What is assumed on the standby route does not go out unsigned."""

    def standby(tree: dict[str, Any]) -> None:
        """The south's standby has a link of which 40 us are only assumed."""
        link = {"id": "spare-link", "kind": "network", "latency_us": 14_105.1, "tolerance_us": 40, "source": "assumed"}
        tree["stages"].append(link)
        stages = ["studio-converter", "spare-link", "south-exciter", "south-feeder"]
        tree["sites"][1]["chains"].append({"route": "standby", "stages": stages})

    found = review(example(standby), problems=())
    assert ("sign-off", "sign-off") == (found.of("south", "standby").state, found.of("south").state)
    assert "assumed-above-tolerated" in found.of("south").codes


def test_what_the_slowest_stands_at_now_is_no_doubt_of_the_common_delay() -> None:
    """North, whom all wait for, was never read: it is withheld, and its relay; the south, which changes nothing, is not.

    Each verdict says of which site and route it is, and which sites are set together.
    """

    def settled(tree: dict[str, Any]) -> None:
        """The south stands as planned; nobody knows where the north stands."""
        for field_, value in zip(tree["sites"][1]["delay_fields"], (106, 382.7), strict=True):
            field_["set"] = value
        tree["sites"][0]["delay_fields"][0]["set"] = None

    network = example(settled)
    found = review(network, problems=all_problems(network))

    assert found.table.forced_by == ("north", "main")
    assert {site: found.of(site).state == "withheld" for site in ("north", "south", "gap")} == {
        "north": True, "south": False, "gap": True,
    }  # fmt: skip
    assert [r.code for r in found.of("north").because("withheld")] == ["present-value-unknown"]
    assert {(one.site, one.route) for one in found.verdicts.values()} == set(found.verdicts)
    assert {one.site: one.release for one in found.verdicts.values()} == {
        "north": ("north", "gap"), "south": (), "gap": ("north", "gap"),
    }  # fmt: skip


def test_a_doubt_that_reaches_a_site_twice_is_told_once_by_a_name_that_is_ones_own() -> None:
    """Two sites of one name are told apart by their ids, and the second way that a doubt comes says: see above."""

    def alike(tree: dict[str, Any]) -> None:
        """North and gap share a name."""
        tree["sites"][2]["name"] = tree["sites"][0]["name"]

    doubt = Problem("sites[0]", "the north runs dry", "", code="buffer-underrun", touches=(Touch("north"),))
    found = review(example(alike), problems=(doubt,))
    said = {r.code: r.problem.what for r in found.of("gap").because("withheld")}

    assert "buffer-underrun" not in said
    assert said["slowest-withheld"].endswith("North ridge (north) is withheld: the north runs dry")
    assert said["parent-withheld"].endswith("North ridge (north) is withheld (see above)")
    assert said["parent-withheld"].startswith("site North ridge (gap) is fed off air from North ridge (north)")
