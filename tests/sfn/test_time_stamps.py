"""What a time stamp means: which stages of a chain add to its latency."""

import json
from typing import Any

import pytest
from hypothesis import given, strategies as st

from sfn.chain import all_routes
from sfn.check import all_problems as check
from sfn.check.doubts import consequence_of
from sfn.check.verdict import verdicts
from sfn.plan import Network, checksum, read
from sfn.timing import delay_table
from sfn.timing.planes import plane_times
from tests.sfn.networks import EXAMPLE_PATH, example

SECTION = {"kind": "time-stamped section", "release_delay_us": 5000}


def chain_of(kinds: list[bool], stamps: dict[str, Any] | None) -> Any:
    """The first site's chain made of plain stages of 1, 2, 4, ... us and time-stamped sections (True) of 5,000 us."""
    tree: dict[str, Any] = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    names = [f"t{i}" for i in range(len(kinds))]
    for i, (name, stamped) in enumerate(zip(names, kinds, strict=True)):
        tree["stages"].append({"id": name} | (SECTION if stamped else {"kind": "other", "latency_us": 2**i}))
        tree["stages"][-1] |= {"tolerance_us": 0.1 * 2**i, "tolerance_kind": "unit", "source": "data sheet"}
    tree["sites"][0]["chains"][0]["stages"] = names
    if stamps is not None:
        tree["time_stamps"] = stamps
    return read(json.dumps(tree))


@given(st.lists(st.booleans(), min_size=1, max_size=8), st.integers(0, 8), st.sampled_from(["origin", "emission"]))
def test_stages_between_stamp_and_plane_add_nothing(kinds: list[bool], at: int, meaning: str) -> None:
    """The rule, stage by stage: nothing from the stamp up to the plane with `emission`, all with `origin`."""
    plane = min(at, len(kinds) - 1)
    network = chain_of(kinds, {"meaning": meaning, "plane": f"t{plane}"})
    found = all_routes(network)["north", "main"]

    latency = tolerance = 0.0
    for i, stamped in enumerate(kinds):
        stamp_before = any(kinds[:i])
        no_later_stamp = not any(kinds[i : plane + 1])
        if not (meaning == "emission" and i <= plane and stamp_before and no_later_stamp):
            latency += 5000 if stamped else 2**i
            tolerance += 0.1 * 2**i
    assert float(found.exact_us) == pytest.approx(latency)
    assert found.tolerance_us == pytest.approx(tolerance)
    assert sum(found.device_us) == sum(5000 if stamped else 2**i for i, stamped in enumerate(kinds))


def test_no_word_on_stamps_counts_as_origin_and_leaves_the_checksum() -> None:
    """The contracts' example says nothing of its stamps: every stage adds, and what was taken for said is named."""
    plain, origin = example(), example(lambda tree: tree.update(time_stamps={"meaning": "origin"}))

    assert [row.latency_us for row in delay_table(plain).rows] == [row.latency_us for row in delay_table(origin).rows]
    said = [p for p in check(plain) if p.code.startswith("stamp-")]
    assert [(p.code, p.severity, p.sites, p.stages) for p in said] == [
        ("stamp-meaning-not-stated", "warning", ("north",), ("north-release",))
    ]
    assert not [p for p in check(origin) if p.code.startswith("stamp-")]
    assert checksum(plain) != checksum(origin)
    assert origin.model_dump(exclude_none=True)["time_stamps"] == {"meaning": "origin", "wrap_s": 1.0}


def digital(modulators_us: tuple[float, float] | None, stamps: dict[str, Any] | None, plane: str | None) -> Network:
    """A DAB network of two sites, each with a release of its own and, where asked for, a modulator behind it."""

    def change(tree: dict[str, Any]) -> None:
        tree.update(service="dab-mode-1", frequency_mhz=223.936)
        tree["sites"] = tree["sites"][:2]
        tree["stages"] = tree["stages"][:1]
        for n, site in enumerate(tree["sites"]):
            own = [{"id": f"r{n}", "kind": "time-stamped section", "release_delay_us": 600_000}]
            own[0] |= {} if plane is None else {"reference_plane": plane}
            if modulators_us is not None:
                own.append({"id": f"m{n}", "kind": "modulator", "latency_us": modulators_us[n]})
            tree["stages"] += own
            site["chains"] = [{"route": "main", "stages": ["studio-converter", *(stage["id"] for stage in own)]}]
        if stamps is not None:
            tree["time_stamps"] = stamps

    return example(change)


def stamp_doubts(network: Network) -> list[tuple[str, str, float]]:
    """What is said about stamps: code, consequence, and what it is worth between sites."""
    found = [p for p in check(network) if p.code.startswith("stamp-")]
    return [(p.code, consequence_of(p, tolerated_us=1), float(p.values.get("differs_us") or 0)) for p in found]


@pytest.mark.parametrize("plane", [None, "exciter input"])
@pytest.mark.parametrize(
    ("stamps", "code"),
    [(None, "stamp-meaning-unknown"), ({"meaning": "unknown"}, "stamp-meaning-unknown"),
     ({"meaning": "emission"}, "stamp-plane-unnamed")],
)  # fmt: skip
def test_a_meaning_that_moves_launches_withholds(stamps: dict[str, Any] | None, code: str, plane: str | None) -> None:
    """Digital modulators obey the stamp themselves: behind a section that ends before them 700 us are in doubt."""
    assert stamp_doubts(digital((2000.0, 1300.0), stamps, plane)) == [(code, "withheld", pytest.approx(700.0))]

    table = delay_table(network := digital((2000.0, 1300.0), stamps, plane))
    told = verdicts(network, check(network), table)
    assert {key: (v.state, code in v.codes) for key, v in told.items()} == {
        ("north", "main"): ("withheld", True), ("south", "main"): ("withheld", True),
    }  # fmt: skip


@pytest.mark.parametrize("stamps", [None, {"meaning": "unknown"}, {"meaning": "emission"}])
def test_a_meaning_that_moves_all_sites_alike_is_a_remark(stamps: dict[str, Any] | None) -> None:
    """The same modulator behind every section: the launches stand together whatever the stamps mean."""
    assert stamp_doubts(digital((2000.0, 2000.0), stamps, "exciter input")) == [("stamp-meaning-alike", "remark", 0.0)]
    found = next(p for p in check(digital((2000.0, 2000.0), stamps, None)) if p.code == "stamp-meaning-alike")
    assert found.values["moves_us"] == pytest.approx(2000)  # what a pulse per second would show, at every site


def test_a_meaning_that_is_stated_is_taken() -> None:
    """Origin, and emission with its plane, raise no doubt."""
    assert stamp_doubts(digital((2000.0, 1300.0), {"meaning": "origin"}, "exciter input")) == []
    assert stamp_doubts(digital((9.0, 2.0), {"meaning": "emission", "plane": ["m0", "m1"]}, None)) == []
    assert [code for code, _, _ in stamp_doubts(digital(None, None, None))] == ["stamp-meaning-alike"]


def test_the_plain_demo_without_its_meaning_is_withheld() -> None:
    """Feeders of unlike length stand behind the sections: 241 m at most against none, to a plane at the antenna."""
    tree = json.loads((EXAMPLE_PATH.parents[2] / "demo_sites" / "dab_plain.json").read_text(encoding="utf-8"))
    del tree["time_stamps"]
    tree.pop("listeners", None)
    found = [p for p in check(read(json.dumps(tree))) if p.code == "stamp-meaning-unknown"]
    assert [set(p.sites) for p in found] == [{site["id"] for site in tree["sites"]}]


def test_emission_at_the_exciter_takes_its_latency_out() -> None:
    """North's exciter of 1,250 us ends at the plane; only section, converter and feeder stay, for its relay too."""
    plain = delay_table(example())
    stamped = delay_table(
        example(lambda tree: tree.update(time_stamps={"meaning": "emission", "plane": "north-exciter"}))
    )

    assert stamped.row("north").latency_us == pytest.approx(plain.row("north").latency_us - 1250)
    assert stamped.row("north").tolerance_us == pytest.approx(2.7 - 0.5)
    assert stamped.row("south").latency_us == plain.row("south").latency_us
    # The relay's launch follows its parent's latency less what the common delay gave way.
    moved = stamped.row("north").launch_us - plain.row("north").launch_us
    assert stamped.row("gap").latency_us - plain.row("gap").latency_us == pytest.approx(moved)


def test_planes_are_read_where_the_device_has_them() -> None:
    """A stage that adds nothing still takes its time: before a filter the launch is seen earlier by that filter."""

    def change(tree: dict[str, Any]) -> None:
        tree["time_stamps"] = {"meaning": "emission", "plane": "north-filter"}
        extra = {"id": "north-filter", "kind": "filter", "latency_us": 3, "reference_plane": "coupler"}
        tree["stages"].append(extra)
        tree["sites"][0]["chains"][0]["stages"].insert(3, "north-filter")

    row = delay_table(example(change)).row("north")
    passes = {time.plane: time.passes_us for time in plane_times(row)}

    assert row.own.absorbed == ("north-exciter", "north-filter")
    assert passes["coupler"] - passes["exciter output"] == pytest.approx(3)


@pytest.mark.parametrize(
    ("stamps", "code", "severity", "sites"),
    [
        ({"meaning": "unknown"}, "stamp-meaning-unknown", "error", ("north",)),
        ({"meaning": "emission", "plane": "nowhere"}, "stamp-plane-no-stage", "error", ()),
        ({"meaning": "emission", "plane": "studio-converter"}, "stamp-plane-not-in-chain", "error", ("north",)),
        ({"meaning": "emission", "plane": "south-feeder"}, "stamp-plane-not-in-chain", "error", ("north",)),
        ({"meaning": "origin", "plane": "north-exciter"}, "stamp-plane-unused", "warning", ("north",)),
    ],
)
def test_a_stamp_that_says_too_little_is_named(
    stamps: dict[str, Any], code: str, severity: str, sites: tuple[str, ...]
) -> None:
    """With the sites whose chains carry a stamp, and no other."""
    found = [p for p in check(example(lambda tree: tree.update(time_stamps=stamps))) if p.code.startswith("stamp-")]

    assert (code, severity, sites) in [(p.code, p.severity, p.sites) for p in found]
    assert all(p.sites in (sites, ("north",)) for p in found)


def test_emission_without_a_plane_rests_on_the_sections_own() -> None:
    """A section that ends behind the modulator says enough; one before it cannot be where emission is."""

    def change(tree: dict[str, Any], *, plane: str | None, modulator: bool) -> None:
        tree["time_stamps"] = {"meaning": "emission"}
        tree["stages"][3]["reference_plane"] = plane
        if not modulator:
            tree["sites"][0]["chains"][0]["stages"].remove("north-exciter")

    def codes(plane: str | None, *, modulator: bool) -> list[str]:
        found = check(example(lambda tree: change(tree, plane=plane, modulator=modulator)))
        return [p.code for p in found if p.code.startswith("stamp-")]

    assert codes("exciter output", modulator=False) == []
    assert codes(None, modulator=False) == ["stamp-plane-unnamed"]
    assert codes("exciter input", modulator=True) == ["stamp-plane-unnamed"]


def test_what_adds_nothing_must_still_fit_before_the_emission() -> None:
    """101,000 us of 120,000 us are needed; an exciter that takes 20,000 us behind the section is too long."""

    def change(tree: dict[str, Any], exciter_us: float) -> None:
        tree["time_stamps"] = {"meaning": "emission", "plane": ["north-exciter"]}
        tree["stages"][4]["latency_us"] = exciter_us

    fits, long = (
        [p for p in check(example(lambda tree, us=us: change(tree, us))) if p.code == "stamp-plane-not-covered"]
        for us in (18_999.5, 18_999.6)
    )
    assert not fits
    assert long[0].values["needed_us"] == pytest.approx(101_000 + 18_999.6 + 0.5)
    assert long[0].sites == ("north",)


@pytest.mark.parametrize(
    ("plane", "said", "worth_us"),
    [
        ("north-feeder", "exciter output", 0.4),
        ("north-exciter", "exciter input", 1250.0),
        ("north-feeder", "exciter input", 1250.4),
        ("north-exciter", "antenna", 0.4),
        ("north-exciter", "exciter output", None),
        ("north-feeder", "antenna", None),
        ("north-release", "exciter input", None),
        ("north-exciter", None, None),
        ("north-exciter", "rack 3, port B", None),
    ],
)
def test_a_section_and_the_stamps_that_hold_at_different_planes(
    plane: str, said: str | None, worth_us: float | None
) -> None:
    """North's exciter takes 1250 us and its feeder 0.4 us (set so here): what lies between is in doubt, by its size."""

    def change(tree: dict[str, Any]) -> None:
        tree.update(time_stamps={"meaning": "emission", "plane": plane})
        stages = {stage["id"]: stage for stage in tree["stages"]}
        stages["north-release"].pop("reference_plane", None)
        if said is not None:
            stages["north-release"]["reference_plane"] = said
        for key in ("length_m", "velocity_factor", "velocity_ratio"):
            stages["north-feeder"].pop(key, None)
        stages["north-feeder"].update(kind="other", latency_us=0.4)
        stages["north-exciter"].update(latency_us=1250)

    network = example(change)
    found = [p for p in check(network) if p.code == "stamp-plane-contradicts"]
    if worth_us is None:
        assert [] == found
        return
    (problem,) = found
    assert problem.values["doubt_us"] == pytest.approx(worth_us)
    assert ("north",) == problem.sites
    state = verdicts(network, check(network), delay_table(network))["north", "main"]
    assert ("stamp-plane-contradicts" in [r.code for r in state.because("withheld")]) == (worth_us > 1.0)
    assert ("stamp-plane-contradicts" in [r.code for r in state.because("sign-off")]) == (worth_us <= 1.0)
