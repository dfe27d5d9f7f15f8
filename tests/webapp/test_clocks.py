"""The clocks page: holdover of sites and pairs, and failures worst first."""

import re

import pytest

from tests.webapp.conftest import start_levels


@pytest.fixture
def number(store, example):
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def plain(answer) -> str:
    """The page with ordinary spaces."""
    return answer.text.replace("\u202f", " ")


def test_until_chosen_the_clocks_are_called_assumed(client, number):
    """The first visit assumes an ordinary oven crystal, says so, and calls its figures typical."""
    html = plain(client.get(f"/networks/{number}/clocks"))

    assert "an ordinary oven crystal is assumed at every site" in html
    assert "typical, verify on your data sheet" in html
    assert 'class="chart"' in html


def test_chosen_clocks(client, number):
    """North 5.6 h by its own figures, a locked site never; no assumption is claimed."""
    fields = {"clock-north": "own", "clock-south": "locked", "clock-gap": "rubidium", "limit_us": "2",
              "own_frequency_offset": "1e-10", "own_ageing_per_day": "0", "step_degc": "0", "swing_degc": "0"}  # fmt: skip
    html = plain(client.get(f"/networks/{number}/clocks", params=fields))
    alone = re.search(r'<th scope="row">North ridge</th><td>own</td><td class="number">([^<]*)<', html)

    assert alone
    assert "5.6 h" == alone[1]
    assert '<td>locked</td><td class="number">never' in html
    assert "assumed at every site" not in html
    assert 'name="clock-gap"' not in html  # fed off air: it follows its parent


def test_a_clock_that_times_no_launch_moves_no_pair(client, number, store, example):
    """0.36 us an hour each, limit 2 us: 5.6 h where the south is on its microwave, 2.8 h once its release is stamped."""
    fields = {"clock-north": "own", "clock-south": "own", "limit_us": "2", "reaction_h": "0",
              "own_frequency_offset": "1e-10", "own_ageing_per_day": "0", "step_degc": "0", "swing_degc": "0"}  # fmt: skip
    (north,) = [stage for stage in example["stages"] if stage["id"] == "north-release"]
    example["stages"].append(north | {"id": "south-release", "inside": []})
    example["sites"][1]["chains"][0]["stages"].insert(1, "south-release")
    stamped = store.create(example, author="test", reason="test").network_id
    pair = r'<th scope="row">North ridge – South ridge</th><td class="number">([^<]*)</td><td class="number">([^<]*)<'
    plainly, timed = (plain(client.get(f"/networks/{n}/clocks", params=fields)) for n in (number, stamped))

    assert ("5.6 h", "5.6 h") == re.search(pair, plainly).groups()
    assert ("2.8 h", "3.9 h") == re.search(pair, timed).groups()  # 2 / 0.72; 2 / (0.36 sqrt 2)
    assert 1 == plainly.count("no launch hangs on it")
    assert "Of South ridge only the other site's clock counts" in plainly.replace("&#39;", "'")
    assert "no launch hangs on it" not in timed
    assert "only the other" not in timed


def test_a_cable_left_uncompensated(client, number):
    """30 m of 0.66 cable: 151.6 ns."""
    html = plain(client.get(f"/networks/{number}/clocks", params={"cable_m": "30", "velocity_factor": "0.66"}))

    assert "+151.6 ns" in html


def test_a_site_without_a_row_for_its_reference_has_its_reason(client, number):
    """The south is on a microwave without time stamps; the fill-in hears the north: neither has a row, both a reason."""
    html = plain(client.get(f"/networks/{number}/clocks"))
    rows = re.findall(r'<tr><th scope="row">([^<]*)</th><td data-label="Effect">', html)

    assert any("the reference clock of North ridge" in row for row in rows)
    assert not any("the reference clock of South ridge" in row for row in rows)
    assert "no route of South ridge holds a time-stamped section, so no clock there times its launch" in html
    assert "Gap is fed off air and launches when it hears North ridge" in html
    assert "no route of North ridge" not in html


def test_failures_worst_first(client, number):
    """What the north and its fill-in hang on comes with both; the stage that all share silences all."""
    html = plain(client.get(f"/networks/{number}/clocks", params={"swing_degc": "0"}))
    rows = re.findall(r'<tr><th scope="row">([^<]*)</th><td data-label="Effect">([^<]*)<', html)
    effects = {name: effect for names, effect in rows for name in names.split(", or ")}

    assert "3 not transmitting" == effects["studio-converter"]
    assert "2 not transmitting, 1 within tolerance" == effects["north-feeder"]
    assert effects["north-feeder"] == effects["North ridge"]
    assert "1 not transmitting, 2 within tolerance" == effects["south-link"]
    assert "within tolerance for a time" in effects["the reference clock of North ridge"]


@pytest.mark.parametrize(
    ("fields", "field", "text"),
    [
        ({"clock-north": "quartz"}, "clock-north", "is not a kind of clock"),
        ({"limit_us": "0"}, "limit_us", "cannot be 0; above 0\u202fµs"),
        ({"swing_degc": "900"}, "swing_degc", "temperature_swing_degc must be from 0 to 75 degC"),
        ({"own_ageing_per_day": "5"}, "own_ageing_per_day", "ageing_per_day must be from"),
        ({"cable_m": "30", "velocity_factor": "83"}, "velocity_factor", "velocity_factor must be from 0.3 to 1"),
        ({"reaction_h": "-1"}, "reaction_h", "cannot be -1; 0 to 1000 h"),
    ],
)
def test_problems_stand_at_their_fields(fields, field, text, client, number):
    """The page is refused with the sentence at the field."""
    answer = client.get(f"/networks/{number}/clocks", params=fields)
    found = re.search(rf'id="{field}-problem1">([^<]*)<', answer.text)

    assert 422 == answer.status_code
    assert found
    assert text in found[1]


def test_the_muting_order_needs_the_map_s_levels(client, number):
    """Without field strengths the page sends to the map; once they are there, a plan that harms itself is said so."""
    before = plain(client.get(f"/networks/{number}/clocks"))
    start_levels(client, f"/networks/{number}/map")
    after = plain(client.get(f"/networks/{number}/clocks", params={"clock-south": "locked", "clock-north": "ocxo"}))

    assert "Open the overlap map" in before
    assert (
        "Correct the plan before you mute anything" in after
    )  # no offset is set: each of the two takes from the other
    turns = after.split("Muting order", 1)[1].split("Standby routes", 1)[0]
    assert "area judged by the quick estimate, at some thousand points" in turns
    assert "North ridge" in turns
    assert "South ridge" not in turns


@pytest.mark.parametrize(
    ("field", "text", "said"),
    [
        ("standby_hours", "1000", "0 to 730.5 h"),
        ("own_frequency_offset", "1", "frequency_offset"),
        ("own_frequency_offset", "x", "is no number"),
        ("reaction_h", "-1", "0 to 1000 h"),
    ],
)
def test_a_refused_figure_stands_at_its_field(client, number, field, text, said):
    """Under the form's own name, whatever the engine's record calls it."""
    answer = client.get(f"/networks/{number}/clocks", params={field: text})
    problem = re.search(rf'id="{field}-problem1">([^<]*)<', answer.text)

    assert 422 == answer.status_code
    assert problem
    assert said in problem[1]


@pytest.mark.parametrize("text", ["1", "true", "Ja"])
def test_what_is_neither_yes_nor_no_is_refused_at_its_box(client, number, text):
    """A standby that was to be started on failure is not taken as always on because somebody wrote 1."""
    page = f"/networks/{number}/clocks"
    assert 'type="checkbox" id="standby_called"' in client.get(page).text
    answer = client.get(page, params={"standby_called": text})
    assert answer.status_code == 422
    assert f"cannot be &#39;{text}&#39;" in answer.text
