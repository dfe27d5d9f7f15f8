"""A problem touches the sites that it concerns and no other, whatever their names and ids look like."""

import json
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from sfn.check import all_problems
from sfn.check.references import references
from sfn.errors import PlanError, Problem
from sfn.plan import Network, read
from sfn.terrain.ground import Ground
from sfn.terrain.ridge import ridge
from sfn.timing import delay_table
from tests.sfn.networks import field

# Names inside names, ids that begin alike; `gap.2.x` is fed off air from `gap`.
NAMES = {"gap": "Ridge", "gap.2": "Ridge south", "gap.22": "Ridge south east", "gap.2.x": "Ridge (main)"}
PLACES = ("36.200, -84.200", "36.300, -84.100", "36.350, -84.150", "36.210, -84.210")
TODAY = date(2026, 11, 29)
Change = Callable[[dict[str, Any]], object]


def document() -> dict[str, Any]:
    """Four sites without a fault, each with stages of its own behind one shared encoder."""
    stages: list[dict[str, Any]] = [_stage("enc")]
    sites = []
    for n, (site, name) in enumerate(NAMES.items()):
        fed = site == "gap.2.x"
        stages += [
            _stage(f"{site}-net", kind="network"),
            {
                "id": f"{site}-release", "kind": "time-stamped section", "release_delay_us": 1000.0,
                "inside": [f"{site}-net"], "tolerance_us": 0.1, "source": "data sheet", "reference_plane": "exciter input",
            },
            _stage(f"{site}-mod", kind="modulator"),
        ]  # fmt: skip
        chain = [f"{site}-mod"] if fed else ["enc", f"{site}-release", f"{site}-mod"]
        sites.append(
            {
                "id": site, "name": name, "position": {"text": PLACES[n]},
                "ground_m": 800.0, "antenna_m": 30.0, "erp_kw": {"h": 1.0, "v": 0.0}, "on_air": True,
                "offset_us": 400.0 if fed else 0.0, "fed_off_air_from": "gap" if fed else None,
                "delay_fields": [field(step=0.1, set=1.0)], "chains": [{"route": "main", "stages": chain}],
            }
        )  # fmt: skip
        if fed:
            sites[-1]["off_air"] = {"receiving_gain_dbd": 6, "transmitting_gain_dbd": 3, "isolation_db": 110}
            stages[-3:-1] = []
    return {
        "format": 1, "name": "Four", "service": "fm-stereo", "frequency_mhz": 98.3, "reference_point": "studio",
        "common_delay": {"mode": "automatic", "margin_us": 500.0}, "stages": stages, "sites": sites,
    }  # fmt: skip


def _stage(name: str, *, kind: str = "other") -> dict[str, Any]:
    """A stage about which nothing is to be said."""
    return {"id": name, "kind": kind, "latency_us": 100.0, "tolerance_us": 0.1, "source": "data sheet"}


def network(change: Change | None = None) -> Network:
    """The four sites, changed."""
    tree = document()
    if change is not None:
        change(tree)
    return read(json.dumps(tree))


def at(site: str, **keys: Any) -> Change:
    """A change of keys of one site."""
    return lambda tree: next(s for s in tree["sites"] if s["id"] == site).update(keys)


def stage(name: str, **keys: Any) -> Change:
    """A change of keys of one stage; a key that is None goes."""

    def change(tree: dict[str, Any]) -> None:
        """In place."""
        one = next(s for s in tree["stages"] if s["id"] == name)
        one.update(keys)
        for key in [key for key, value in one.items() if value is None]:
            del one[key]

    return change


def chain(site: str, *stages: str) -> Change:
    """Another chain of one site."""
    return at(site, chains=[{"route": "main", "stages": list(stages)}])


def added(one: dict[str, Any], change: Change) -> Change:
    """A further stage, and a change."""

    def both(tree: dict[str, Any]) -> None:
        """In place."""
        tree["stages"].append(one)
        change(tree)

    return both


def stamped(change: Change) -> Change:
    """With time stamps that repeat, and a change."""
    return lambda tree: (tree.update(time_stamps={"meaning": "origin", "wrap_s": 1.0}), change(tree))


def clocks(tree: dict[str, Any]) -> None:
    """Every site keeps UTC but one, which keeps GPS time and whose cable is forgotten; one says nothing."""
    for site in tree["sites"]:
        site["time_reference"] = {"scale": "UTC"}
    tree["sites"][1]["time_reference"] = {"scale": "GPS", "cable_m": 400.0}
    del tree["sites"][2]["time_reference"]


def two_clocks(tree: dict[str, Any]) -> None:
    """Two sites keep different scales and the others say nothing: neither of the two is most sites."""
    tree["sites"][0]["time_reference"], tree["sites"][1]["time_reference"] = {"scale": "UTC"}, {"scale": "GPS"}


FEEDER = {
    "id": "feeder",
    "kind": "feeder",
    "length_m": 50.0,
    "velocity_factor": 0.88,
    "tolerance_us": 0.0,
    "source": "data sheet",
}
SLOW = _stage("slow", kind="network") | {"latency_us": 3000.0}
SHIFT = {"sectors_db": [1.0], "source": "drive", "date": "2026-13-01"}


def routes(site: str, standby: list[str]) -> Change:
    """A standby route beside the main one."""
    main, other = (["enc", *own, f"{site}-mod"] for own in ([f"{site}-release"], standby))
    return at(site, chains=[{"route": "main", "stages": main}, {"route": "standby", "stages": other}])


CASES: list[tuple[str, Change, set[str]]] = [
    ("stage-unused", added(_stage("spare"), lambda tree: None), set()),
    ("buffer-underrun", stage("gap.2-release", release_delay_us=50.0), {"gap.2"}),
    ("stamp-wrap", stamped(stage("gap.2-release", release_delay_us=2e6)), {"gap.2"}),
    ("delay-adapts", stage("gap-mod", adapts=True), {"gap"}),
    ("waveform-differs", stage("gap.2-mod", shapes_waveform=True), {"gap", "gap.2", "gap.22"}),
    ("tolerance-missing", stage("gap-mod", tolerance_us=None), {"gap"}),
    ("figure-outdated", stage("gap.2-mod", source="measured", date="2025-01-02", changed="2025-02-02"), {"gap.2"}),
    ("source-missing", stage("gap-mod", source=None), {"gap"}),
    ("latency-assumed", stage("gap-net", source="assumed"), {"gap"}),
    ("stage-counted-twice", chain("gap.2", "enc", "gap.2-net", "gap.2-release", "gap.2-mod"), {"gap.2"}),
    ("modulator-counted-twice", stage("gap.2-release", reference_plane="exciter output"), {"gap.2"}),
    ("stage-two-latencies", chain("gap.2", "gap.2-release", "enc", "gap.2-mod"), {"gap", "gap.2", "gap.22"}),
    ("stage-two-latencies", chain("gap.2", "enc", "gap.2-net", "gap.22-mod"), {"gap.2", "gap.22"}),
    ("stream-plan-unreadable", stage("gap.2-mod", stream_plan="payload=nonsense"), {"gap.2"}),
    ("device-setting-outside", at("gap", delay_fields=[field(step=0.1, set=3e6)]), {"gap"}),
    ("device-setting-between-steps", at("gap.2", delay_fields=[field(step=0.1, set=0.05)]), {"gap.2"}),
    ("device-step-coarse", at("gap.2", delay_fields=[field(unit="ms", greatest=2000)]), {"gap.2"}),
    ("ground-height-doubtful", at("gap", ground_m=3000.0), {"gap"}),
    ("terrain-missing", at("gap.2", position={"text": "35.0, -83.0"}), {"gap.2"}),
    ("off-air-idle", at("gap.2", off_air={"isolation_db": 100}), {"gap.2"}),
    ("relay-figures-missing", at("gap.2.x", off_air={"receiving_gain_dbd": 6}), {"gap.2.x"}),
    ("stage-after-feeder", added(FEEDER, chain("gap.2", "enc", "feeder", "gap.2-release", "gap.2-mod")), {"gap.2"}),
    ("route-doubled", routes("gap.2", ["gap.2-release", "gap.22-net"]), {"gap.2"}),
    ("route-doubled", chain("gap", "enc", "gap-release", "gap.22-release", "gap-mod"), {"gap"}),
    ("route-forces-common-delay", added(SLOW, routes("gap.2", ["slow"])), {"gap.2"}),
    ("frequency-outside-band", lambda tree: tree.update(frequency_mhz=983), set(NAMES)),
    ("date-impossible", stage("gap.2-mod", date="2026-02-30"), {"gap.2"}),
    ("date-impossible", stage("gap-mod", changed="2031-01-01"), {"gap"}),
    ("date-impossible", at("gap", level_shift=SHIFT), {"gap"}),
    ("tolerance-above-latency", stage("gap.2-mod", tolerance_us=100.1), {"gap.2"}),
    ("offset-limits-crossed", at("gap.2", least_offset_us=10, greatest_offset_us=-10), {"gap.2"}),
    ("offset-outside-limits", at("gap.2", offset_us=11, greatest_offset_us=10), {"gap.2"}),
    ("offset-outside-limits", at("gap", offset_us=-11, least_offset_us=-10), {"gap"}),
    ("erp-zero", at("gap.2", erp_kw={"h": 0.0, "v": 0.0}), {"gap.2"}),
    ("name-duplicate", at("gap.2", name="ridge "), {"gap", "gap.2"}),
    ("name-blank", at("gap.2", name="  "), {"gap.2"}),
    ("control-characters", at("gap.2", name="Ridge\u0007"), {"gap.2"}),
    ("control-characters", at("gap.22", name="Ridge \u202etsae"), {"gap.22"}),
    ("control-characters", stage("gap-mod", model="x\ny"), {"gap"}),
    ("control-characters", lambda tree: tree.update(notes="line\nline\u0000"), set()),
    ("time-scale-differs", clocks, {"gap.2"}),
    ("time-scale-differs", two_clocks, {"gap", "gap.2"}),
    ("service-unknown", lambda tree: tree.update(service="fm-sterio"), {"gap", "gap.2", "gap.22", "gap.2.x"}),
    ("time-reference-missing", clocks, {"gap.22"}),
    ("cable-uncompensated", clocks, {"gap.2"}),
]  # fmt: skip


@pytest.mark.parametrize(("code", "change", "sites"), CASES, ids=[f"{code}-{n}" for n, (code, *_) in enumerate(CASES)])
def test_each_kind_of_problem_touches_its_sites_alone(code: str, change: Change, sites: set[str]) -> None:
    """Names inside names and ids that begin alike never share a fault; without the change there is none."""
    ground = Ground(terrain=ridge())
    before = [p for p in all_problems(network(), ground=ground, today=TODAY) if p.code == code]
    found = [p for p in all_problems(network(change), ground=ground, today=TODAY) if p.code == code and p not in before]

    assert found, f"no {code}"
    assert {site for problem in found for site in problem.sites} == sites


def test_names_that_read_as_words_stand_in_quotation_marks() -> None:
    """A site called "at once" is seen as a name in every sentence; one in capitals stands as it is."""
    called = {
        "Ridge": "at once",
        "Ridge south": "not",
        "Ridge south east": "100 m mast",
        "Ridge (main)": "not. Mute all",
    }

    seen = set()
    for _, change, _ in CASES:
        tree = document()
        change(tree)
        for site in tree["sites"]:
            site["name"] = f"{called.get(site['name'], 'one more')} zq"
        for problem in all_problems(read(json.dumps(tree)), today=TODAY):
            for text in (problem.what, problem.expected):
                bare = text
                for name in (*called.values(), "one more"):
                    bare = bare.replace(f'"{name} zq"', "").replace(f'"{name} zq (', "")
                    seen |= {name} if f'"{name} zq"' in text else set()
                assert "zq" not in bare, problem
    assert set(called.values()) <= seen
    assert any("site Ridge (main)" in p.what for p in all_problems(network(CASES[0][1]), today=TODAY))


def test_every_problem_of_the_check_has_a_code() -> None:
    """Scripts and the release of sheets go by it."""
    for _, change, _ in CASES:
        made = network(change)
        for problem in all_problems(made):
            assert problem.code or problem in delay_table(made).problems, problem


def test_the_four_sites_are_sound() -> None:
    """What the cases add is all there is."""
    assert [p for p in all_problems(network()) if p.severity == "error"] == []
    assert list(references(network())) == []


@pytest.mark.parametrize(
    ("code", "change", "sites"),
    [
        ("stage-unknown", chain("gap.2", "enc", "gap.2-mode"), {"gap.2"}),
        ("stage-repeated", chain("gap", "enc", "enc"), {"gap"}),
        ("route-main-missing", at("gap", chains=[{"route": "standby", "stages": ["enc"]}]), {"gap"}),
        ("route-duplicate", at("gap.2", chains=[{"route": "main", "stages": ["enc"]}] * 2), {"gap.2"}),
        ("field-duplicate", at("gap", delay_fields=[field(), field()]), {"gap"}),
        ("unit-unknown", at("gap.2", delay_fields=[field(unit="furlongs")]), {"gap.2"}),
        ("field-unknown", at("gap", chains=[{"route": "main", "stages": ["enc"], "set": {"x": 1.0}}]), {"gap"}),
        ("parent-unknown", at("gap.2", fed_off_air_from="gap.3"), {"gap.2"}),
        ("parent-loop", at("gap", fed_off_air_from="gap.2.x"), {"gap", "gap.2.x"}),
        ("id-duplicate", at("gap.22", id="gap.2"), {"gap.2"}),
    ],
)
def test_what_cannot_be_read_touches_its_sites_alone(code: str, change: Change, sites: set[str]) -> None:
    """References that lead nowhere name the site by its id."""
    with pytest.raises(PlanError) as refused:
        network(change)

    found: list[Problem] = [p for p in refused.value.problems if p.code == code]
    assert {site for problem in found for site in problem.sites} == sites
