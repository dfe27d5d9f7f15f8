"""Documents with one fault each, by the doubt that it makes: what tests of sentences walk."""

import copy
from collections.abc import Callable
from typing import Any

from tests.sfn.check import test_touches as four
from tests.sfn.networks import field

Document = dict[str, Any]
at, stage, added, chain, routes = four.at, four.stage, four.added, four.chain, four.routes


def first(document: Document, kind: str) -> Document:
    """The first stage of a kind that a chain passes."""
    used = {name for site in document["sites"] for chain in site["chains"] for name in chain["stages"]}
    return next(one for one in document["stages"] if one["kind"] == kind and one["id"] in used)


def feeder(**changes: Any) -> Callable[[Document], None]:
    """One stage without a time stamp before it, otherwise."""
    return lambda document: first(document, "feeder").update(changes)


def of_site(n: int, **changes: Any) -> Callable[[Document], None]:
    """One site otherwise."""
    return lambda document: document["sites"][n].update(changes)


def of_field(n: int, **changes: Any) -> Callable[[Document], None]:
    """The first delay field of a site otherwise."""
    return lambda document: document["sites"][n]["delay_fields"][0].update(changes)


def one_place(document: Document) -> None:
    """Two sites at one position."""
    document["sites"][1]["position"] = copy.deepcopy(document["sites"][0]["position"])


def parent_of_all(document: Document) -> Document:
    """A site that feeds another off air; the first of the document where none does."""
    parents = [one["fed_off_air_from"] for one in document["sites"] if one.get("fed_off_air_from")]
    return next((one for one in document["sites"] if one["id"] in parents), document["sites"][0])


def relay(document: Document, **changes: Any) -> None:
    """The first relay hears its parent otherwise."""
    for one in document["sites"]:
        if one.get("fed_off_air_from"):
            one["off_air"] = {**one.get("off_air", {}), **changes}
            return


# Of the demos.
CHANGES: dict[str, Callable[[Document], None]] = {
    "delay-adapts": feeder(adapts=True),
    "figure-outdated": feeder(date="2020-01-02", changed="2021-03-04"),
    "source-missing": feeder(source=None),
    "tolerance-above-latency": feeder(tolerance_us=1.5),
    "date-impossible": feeder(date="2199-01-02"),
    "erp-zero": of_site(0, erp_kw={"h": 0, "v": 0}),
    "name-duplicate": lambda d: d["sites"][0].update(name=d["sites"][1]["name"]),
    "name-blank": of_site(0, name=" "),
    "offset-limits-crossed": of_site(0, least_offset_us=12.5, greatest_offset_us=-3.25),
    "offset-outside-limits": of_site(0, offset_us=70.0, least_offset_us=1.5, greatest_offset_us=33.0),
    "device-setting-outside": lambda d: d["sites"][0]["delay_fields"][0].update(
        set=d["sites"][0]["delay_fields"][0]["greatest"] + 1000
    ),
    "device-unit-unknown": of_field(0, unit="unknown"),
    "position-unreadable": of_site(0, position={"text": "95.5, 11.25"}),
    "position-shared": one_place,
    "position-coarse": of_site(0, position={"text": "47.12, 11.35"}),
    "position-mistyped": of_site(0, position={"text": "12.123456, -77.123456"}),
    "waveform-differs": feeder(shapes_waveform=True),
    "frequency-outside-band": lambda d: d.update(frequency_mhz=0.1005),
    "control-characters": of_site(0, name="Ridge\u202e 7"),
    "parent-withheld": lambda d: parent_of_all(d)["delay_fields"][0].update(unit="unknown"),
    "parent-missing": lambda d: parent_of_all(d).update(position={"text": "95.5, 11.25"}),
    "relay-figures-missing": lambda d: relay(d, isolation_db=None, separation_m=None),
    "relay-oscillates": lambda d: relay(d, isolation_db=3.0),
    "relay-low-margin": lambda d: relay(d, margin_db=40.0),
    "stamp-meaning-unknown": lambda d: d.pop("time_stamps", None),
    "stamp-plane-no-stage": lambda d: d.update(time_stamps={"meaning": "emission", "plane": ["nowhere"]}),
    "stage-unused": lambda d: d["stages"].append({**first(d, "feeder"), "id": "spare"}),
    "lock-differs": lambda d: [
        one.update(lock={**(one.get("lock") or {}), "pre_emphasis_us": us, "pilot_phase_deg": turn})
        for one, us, turn in zip(d["sites"], (50, 75, 50), (0.0, 77.5, 12.0), strict=False)
    ],
    "lock-unproven": of_site(0, lock={"pre_emphasis_us": 75}),
}


def several(*changes: four.Change) -> four.Change:
    """One change after the other."""
    return lambda tree: [change(tree) for change in changes]


def whole(**keys: Any) -> four.Change:
    """A change of keys of the document."""
    return lambda tree: tree.update(keys)


def position(site: str, **keys: Any) -> four.Change:
    """Another position of one site."""
    return at(site, position=keys)


def fed(**keys: Any) -> four.Change:
    """The relay of the four hears its parent otherwise."""
    usual = {"receiving_gain_dbd": 6, "transmitting_gain_dbd": 3, "isolation_db": 110}
    return at("gap.2.x", off_air={**usual, **keys})


def far_away(lat_deg: float) -> four.Change:
    """One site of the four far from the others."""
    return position("gap.22", text=f"{lat_deg:.6f}, -84.150000")


def emission(plane: Any = None) -> four.Change:
    """Stamps that are the instant of emission."""
    return whole(time_stamps={"meaning": "emission"} | ({} if plane is None else {"plane": plane}))


def awkward(n: int) -> Document:
    """One of many fields of one step each, no two alike: more combinations than are tried."""
    step_us = (10_000_019 + 7_919 * n * n) / 1e6
    return field(name=f"field {n}", step=step_us, greatest=step_us)


def assumed(tree: Document) -> None:
    """One small figure that nobody measured, without a tolerance."""
    stage("gap-mod", source="assumed", tolerance_us=None, latency_us=0.01)(tree)


def unlike_modulators(tree: Document) -> None:
    """A digital network whose modulators behind the stamps differ."""
    tree.update(service="dab-mode-1", frequency_mhz=223.936)
    stage("gap-mod", latency_us=2000.0)(tree)


def digital(tree: Document) -> None:
    """The four as a digital network."""
    tree.update(service="dab-mode-1", frequency_mhz=223.936)


# Of the four sites of `test_touches`, beside its own cases; what a change makes besides is looked at alike.
MORE: list[tuple[str, four.Change]] = [
    ("position-zero", position("gap", text="0, 0")),
    ("position-zero", position("gap", text="0.000000, -84.200000")),
    ("position-zero", position("gap", easting_m=0.0, northing_m=4010000.0, crs="EPSG:32616")),
    ("position-unreadable", position("gap", text="36.2, -184.2")),
    ("position-unreadable", position("gap", text="36.200, -84.200", crs="EPSG:999999")),
    ("position-unreadable", position("gap", text="36.200, -84.200", crs="Hill datum")),
    ("position-unreadable", position("gap", text="36.200, -84.200", crs="WGS 84 / UTM zone 33N")),
    ("position-unreadable", position("gap", text="36.200, -84.200", crs="EPSG:4400")),
    ("position-unreadable", position("gap", text="somewhere on the hill")),
    ("crs-unusable", position("gap", text="50.5, 0.5", crs="EPSG:4807")),
    ("crs-unusable", position("gap", text="1000 2000", crs="EPSG:2048")),
    ("position-no-transformation", position("gap", text="38.0, -98.0", crs="EPSG:4230")),
    ("position-nowhere", position("gap", easting_m=1e8, northing_m=1e8, crs="EPSG:27700")),
    ("position-other-grid", position("gap", text="JN58td")),
    ("position-axis-order", position("gap", easting_m=4_321_000.5, northing_m=3_210_000.5, crs="EPSG:3035")),
    ("position-kilometre-square", position("gap", text="16N 751000 4010000")),
    ("position-hemisphere", position("gap", text="0 36 15, 0 12 30")),
    ("position-outside-area", position("gap", easting_m=2_500_000.0, northing_m=4_010_000.0, crs="EPSG:32616")),
    ("position-slip", position("gap.22", text="36.350000, 84.150000")),
    ("position-slip", position("gap.22", text="-36.350000, -84.150000")),
    ("position-slip", position("gap.22", text="-36.350000, 84.150000")),
    ("position-slip", position("gap.22", text="17N 750000.0 4010000.0")),
    ("position-slip", position("gap.22", text="16 south 750000.0 4010000.0")),
    ("position-far", far_away(38.123456)),
    ("position-mistyped", far_away(69.123456)),
    ("position-datum", position("gap", text="36.200000, -84.200000", crs="EPSG:4267")),
    ("position-datum-differs", position("gap", text="36.200000, -84.200000", crs="EPSG:4267")),
    ("position-feet", position("gap", easting_m=750000.0, northing_m=190000.0, crs="EPSG:2274")),
    ("far-above-the-plain", at("gap", ground_m=3210.0)),
    ("part-unjudged", whole(service="nrsc-5-fm-hybrid")),
    ("service-unknown", whole(service="dvb-t2-32k-19/200-pp2-8mhz")),
    ("service-unknown", whole(service="zzzzzz")),
    ("assumed-without-tolerance", assumed),
    ("device-sign-unknown", at("gap", delay_fields=[field(step=0.1, set=1.0, sign="unknown")])),
    ("field-without-steps", at("gap", delay_fields=[field(step=10, least=1, greatest=9, set=None)])),
    ("present-value-unknown", at("gap", delay_fields=[field(step=0.1, set=None)])),
    ("setting-unreachable", at("gap", delay_fields=[field(step=0.1, set=1.0, greatest=5)])),
    ("setting-unreachable", at("gap", delay_fields=[])),
    ("setting-unreachable", whole(common_delay={"mode": "fixed", "value_us": 1000.0})),
    ("setting-unreachable", whole(common_delay={"mode": "fixed", "value_us": 9e6})),
    ("setting-unreachable", at("gap.2.x", offset_us=0.0)),
    ("rounding-above-tolerated", at("gap", delay_fields=[field(step=700, greatest=7000)])),
    ("rounding-left", at("gap", offset_us=0.85, delay_fields=[field(), field(name="fine", step=0.1, greatest=0.7)])),
    ("setting-not-proven", several(whole(common_delay={"mode": "automatic", "margin_us": 123.456789}),
     at("gap", delay_fields=[awkward(n) for n in range(24)]))),
    ("jump-beyond-tolerance", added(four.SLOW, routes("gap.2", ["slow"]))),
    ("headroom-low", at("gap", delay_fields=[field(step=0.1, set=1.0, greatest=505)])),
    ("modulators-in-series", added(four._stage("second", kind="modulator"), chain("gap", "second", "gap-net", "gap-mod"))),
    ("links-in-series", added(four._stage("hop", kind="microwave"), added(four._stage("hop2", kind="microwave"),
     chain("gap", "enc", "hop", "hop2", "gap-mod")))),
    ("lock-not-stated", lambda tree: None),
    ("stamp-plane-unused", whole(time_stamps={"meaning": "origin", "plane": "gap-mod"})),
    ("stamp-plane-not-in-chain", emission(["gap-mod"])),
    ("stamp-plane-no-stage", emission(["nowhere"])),
    ("stamp-plane-unnamed", several(unlike_modulators, emission())),
    ("stamp-meaning-alike", several(digital, whole(time_stamps={"meaning": "unknown"}))),
    ("stamp-meaning-unknown", several(unlike_modulators, whole(time_stamps={"meaning": "unknown"}))),
    ("stamp-plane-not-covered", several(digital, emission([f"{site}-mod" for site in four.NAMES]),
     stage("gap-release", release_delay_us=150.0))),
    ("stamp-plane-contradicts", several(digital, emission([f"{site}-mod" for site in four.NAMES]))),
    ("buffer-not-proven", several(digital, emission([f"{site}-mod" for site in four.NAMES]))),
    ("relay-isolation-estimated", at("gap.2.x", off_air={"receiving_gain_dbd": 6,
     "transmitting_gain_dbd": 3, "separation_m": 30.0, "separation_direction": "side by side"})),
    ("relay-oscillates", fed(isolation_db=3.0)),
    ("relay-low-margin", fed(margin_db=40.0, isolation_db=70)),
    ("relay-echo-beyond-window", fed(isolation_db=3.0, cancelled_db=30, window_us=1.0, echo_us=5.0)),
    ("relay-processing-long", lambda tree: None),
    ("relay-wrong-parent", at("gap.2.x", fed_off_air_from="gap.22", position={"text": "36.2001, -84.2001"})),
    ("relay-parent-weak", fed(parent_margin_db=60.0)),
    ("relay-figure-impossible", several(fed(), stage("gap.2.x-mod", latency_us=2e6))),
    ("relay-figure-impossible", at("gap.2.x", off_air={"receiving_gain_dbd": 6, "transmitting_gain_dbd": 3,
     "separation_m": 0.1, "separation_direction": "side by side"})),
    ("device-step-coarse", at("gap", delay_fields=[field(unit="samples@48000")])),
    ("antenna-contradicts-itself", at("gap", antenna={"horizontal": [[0, 0], [180, 20], [360, 0]],
     "vertical_plane": {"horizontal": [[0, 0], [180, 20], [360, 12]]}})),
    ("model-steps-differ", several(at("gap", delay_fields=[field(step=0.5, model="exciter E")]),
     at("gap.2", delay_fields=[field(step=1, model="exciter E")]))),
    ("model-tolerance-differs", several(stage("gap-mod", tolerance_us=0.3, tolerance_kind="model", model="codec C"),
     stage("gap.2-mod", tolerance_us=3.0, tolerance_kind="model", model="codec C"))),
    ("offset-outside-limits", at("gap", offset_us=-11, least_offset_us=-10, greatest_offset_us=33.5)),
]  # fmt: skip
