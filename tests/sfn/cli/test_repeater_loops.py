"""The loop of sites fed off air, by equations written here, on ten drawn relays.

Power from field strength by the Poynting vector and an antenna's effective area (120 pi ohm), isolation side by side by
Friis, one above the other by the rule of thumb of the trade (28 + 40 log of the distance in wavelengths; common
practice), what the aerial takes away behind by BT.419 and BS.599 (from memory: 12 dB in bands II and III, 16 in IV and
V), the ripple by adding up the echoes one after the other.
"""

import json
from cmath import exp
from math import log10, pi

import numpy as np
import pytest

from sfn.cli import main

LIGHT_M_PER_US = 299.792458
BANDS = (("fm-stereo", 87.6, 107.9, 12.0), ("dab-mode-1", 175.0, 239.0, 12.0), ("dvb-t-8k", 474.0, 690.0, 16.0))
DVB_T = "dvb-t-8k-1/8-8mhz-64qam-2/3"


def drawn(seed):
    """A network of a parent and a relay, and what was drawn for the relay."""
    rng = np.random.default_rng(1800 + seed)
    service, low_mhz, high_mhz, behind_db = BANDS[seed % 3]
    given = {
        "received_dbuvm": round(rng.uniform(60, 95), 1),
        "receiving_gain_dbd": round(rng.uniform(2, 14), 1),
        "transmitting_gain_dbd": round(rng.uniform(-2, 10), 1),
        "margin_db": float(rng.integers(6, 18)),
        "cancelled_db": float(rng.choice([0, 12, 25])),
        "window_us": round(rng.uniform(2, 20), 1),
        "echo_us": round(rng.uniform(2, 20), 1),
    }
    how = ("typed", "one above the other", "side by side")[int(rng.integers(3)) if seed > 2 else seed]
    if how == "typed":
        given["isolation_db"] = round(rng.uniform(55, 110), 1)
    else:
        given |= {"separation_m": round(rng.uniform(5, 60), 1), "separation_direction": how}
    if seed % 2:  # the aerial points away from its parent, which stands due north
        given["receiving_bearing_deg"] = 180.0
        if seed % 4 == 1:
            given["front_to_back_db"] = behind_db = round(rng.uniform(8, 30), 1)
    case = {
        "given": given, "how": how, "mhz": round(rng.uniform(low_mhz, high_mhz), 1), "seed": seed,
        "erp_w": round(10 ** rng.uniform(0.5, 3), 2), "taken_db": behind_db if seed % 2 else 0.0,
    }  # fmt: skip

    def site(name, lat, kw, **more):
        field = {"name": "d", "unit": "us", "step": 1, "least": 0, "greatest": 4000, "sign": "later",
                 "insertion_us": 0, "set": None}  # fmt: skip
        return {
            "id": name, "name": name, "position": {"text": f"{lat:.3f}, 5.0"}, "ground_m": 400, "antenna_m": 50,
            "erp_kw": {"h": 0, "v": kw}, "on_air": True, "offset_us": 0, "offset_held": False,
            "fed_off_air_from": None, "delay_fields": [field],
            "chains": [{"route": "main", "stages": [f"l-{name}"]}],
        } | more  # fmt: skip

    tree = {
        "format": 1, "name": "invented", "service": DVB_T if service == "dvb-t-8k" else service,
        "frequency_mhz": case["mhz"], "refractivity_n": 315, "delta_n": 45, "surface_refractivity_n0": 325,
        "receiver": {"height_m": 1.5}, "reference_point": "studio output",
        "common_delay": {"mode": "fixed", "value_us": 3000},
        "stages": [
            {"id": f"l-{name}", "kind": "other", "latency_us": us, "source": "measured", "date": "2026-09-14"}
            for name, us in (("up", 900.0), ("down", 7.5))
        ],
        "sites": [
            site("up", 45.2, 10.0),
            site("down", 45.0, case["erp_w"] / 1000, fed_off_air_from="up", offset_us=120, off_air=given),
        ],
    }  # fmt: skip
    return tree, case


def loop_of(case):
    """Input and output [dBW], isolation [dB], by equations of this file."""
    given, wave_m = case["given"], LIGHT_M_PER_US / case["mhz"]
    field = 10 ** ((given["received_dbuvm"] - 120) / 20)
    gain = 10 ** ((given["receiving_gain_dbd"] + 2.15 - case["taken_db"]) / 10)
    into_w = field**2 / (120 * pi) * gain * wave_m**2 / (4 * pi)
    out_w = case["erp_w"] / 10 ** (given["transmitting_gain_dbd"] / 10)
    if case["how"] == "typed":
        apart_db = given["isolation_db"]
    elif case["how"] == "side by side":
        both = 10 ** ((given["receiving_gain_dbd"] + given["transmitting_gain_dbd"] + 2 * 2.15) / 10)
        apart_db = -10 * log10(both * (wave_m / (4 * pi * given["separation_m"])) ** 2)
    else:
        apart_db = 28 + 40 * log10(given["separation_m"] / wave_m)
    return 10 * log10(into_w), 10 * log10(out_w), apart_db


def ripple_of(margin_db):
    """Peak to peak of what 4000 turns round the loop add up to, over the phase of a turn. [dB]"""
    turn, levels = 10 ** (-margin_db / 20), []
    for phase in np.linspace(0, 2 * pi, 73):
        total, echo = 0j, 1 + 0j
        for _ in range(4000):
            total += echo
            echo *= turn * exp(1j * phase)
            if abs(echo) < 1e-9:
                break
        levels.append(abs(total))
    return 20 * log10(max(levels) / min(levels))


@pytest.mark.parametrize("seed", range(10))
def test_the_loop_of_a_drawn_relay(seed, tmp_path, capsys):
    """Isolation, gain, margin, ripple, what margins allow, and which echoes lie beyond the canceller's window."""
    tree, case = drawn(seed)
    given = case["given"]
    path = tmp_path / "network.json"
    path.write_text(json.dumps(tree))
    assert 0 == main(["repeaters", str(path), "--json"])
    answer = json.loads(capsys.readouterr().out)
    (found,) = answer["sites"]
    into_dbw, out_dbw, apart_db = loop_of(case)
    margin_db = apart_db + given["cancelled_db"] - (out_dbw - into_dbw)

    assert found["input_dbw"] == pytest.approx(into_dbw, abs=0.03)  # P.525 rounds its constant to 77.2
    assert found["output_dbw"] == pytest.approx(out_dbw, abs=1e-6)
    assert found["isolation_db"] == pytest.approx(apart_db, abs=1e-6)
    assert found["isolation_estimated"] == (case["how"] != "typed")
    assert found["gain_db"] == pytest.approx(out_dbw - into_dbw, abs=0.03)
    assert found["margin_db"] == pytest.approx(margin_db, abs=0.03)
    needed_db = out_dbw - into_dbw + given["margin_db"] - given["cancelled_db"]
    assert found["needed_isolation_db"] == pytest.approx(needed_db, abs=0.03)
    if margin_db <= 0:
        assert found["ripple_db"] is None
    else:
        assert found["ripple_db"] == pytest.approx(ripple_of(found["margin_db"]), rel=1e-3)
    assert sorted({10.0, 15.0, given["margin_db"]}) == [one["margin_db"] for one in found["allowed"]]
    for one in found["allowed"]:
        most_dbw = into_dbw + apart_db + given["cancelled_db"] - one["margin_db"]
        assert one["output_dbw"] == pytest.approx(most_dbw, abs=0.03)
        watts = 10 ** ((most_dbw + given["transmitting_gain_dbd"]) / 10)
        assert 1000 * one["erp_kw"] == pytest.approx(watts, rel=0.01)
    assert found["reflector_m"] == pytest.approx(given["window_us"] * LIGHT_M_PER_US / 2)
    assert found["processing_us"] == 7.5
    codes = {problem["code"] for problem in answer["problems"]}
    assert ("relay-oscillates" in codes) == (margin_db <= 0)
    assert ("relay-low-margin" in codes) == (0 < margin_db < given["margin_db"])
    beyond = given["cancelled_db"] > 0 and given["echo_us"] > given["window_us"]
    assert ("relay-echo-beyond-window" in codes) == beyond


def test_the_drawn_relays_differ():
    """Among the ten: loops that oscillate, little margin and enough, every way of isolation, echoes within and beyond."""
    cases = [drawn(seed)[1] for seed in range(10)]
    margins = []
    for case in cases:
        into_dbw, out_dbw, apart_db = loop_of(case)
        margins.append(apart_db + case["given"]["cancelled_db"] - (out_dbw - into_dbw))
    assert {"typed", "one above the other", "side by side"} == {case["how"] for case in cases}
    assert min(margins) <= 0
    assert max(margins) > 15
    assert any(0 < m < c["given"]["margin_db"] for m, c in zip(margins, cases, strict=True))
    assert all(abs(m) > 0.03 for m in margins)
    beyond = [c["given"]["echo_us"] > c["given"]["window_us"] for c in cases if c["given"]["cancelled_db"]]
    assert {True, False} == set(beyond)
