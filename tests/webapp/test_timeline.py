"""The timeline page and its JSON: everything in the order in which it held, with contradictions side by side."""

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.webapp.test_readings import issued as issued, link, number as number, send
from webapp.store.store import Store


def entries(client: TestClient, number: int, site: str = "") -> list[dict[str, Any]]:
    """The entries of the JSON document."""
    answer = client.get(f"/api/networks/{number}/timeline", params={"site": site} if site else {})
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json()["entries"]
    return found


def present(client: TestClient, number: int, site: str) -> dict[str, Any]:
    """The present value of each field."""
    answer = client.get(f"/api/networks/{number}/timeline", params={"site": site}).json()
    return {one["field"]: one for one in answer["present"]}


def test_what_held_orders_it_and_late_arrivals_say_so(client: TestClient, store: Store, number: int) -> None:
    """A telephone three hours slow that sends late: its old value stands where it held and is not the present one."""
    now = datetime.now(UTC)
    true, slow = now - timedelta(hours=5), timedelta(hours=3)
    stamp = "%Y-%m-%dT%H:%M:%SZ"
    fields = {"set-1": "500", "sending": "a", "ask": "", "confirm-1": ""}
    assert send(client, link(number), **fields).json()["kept"]
    late = {
        "set-1": "77", "sending": "b", "taken_clock": f"{true - slow:{stamp}}", "phone_clock": f"{now - slow:{stamp}}",
    }  # fmt: skip
    asked = send(client, link(number), **late)
    ticks = {f"confirm-{n}": f"{q['field']}: {q['text']}" for n, q in enumerate(asked.json()["questions"])}
    assert send(client, link(number), **late, **ticks).json()["kept"]

    found = [one for one in entries(client, number, "north") if one["kind"] == "read"]
    assert [one["values"]["fields"]["codec delay"]["value"] for one in found] == [77.0, 500.0]
    assert abs(datetime.fromisoformat(found[0]["held_at"]) - true) < timedelta(seconds=10)
    assert "3 h slow" in found[0]["doubt"]
    assert found[0]["arrived_at"] > found[0]["held_at"]
    assert found[1]["present"] == ["codec delay"]
    stands = present(client, number, "north")["codec delay"]
    assert (stands["value"], stands["entry"]) == (500.0, found[1]["id"])
    html = unescape(client.get(f"/networks/{number}/timeline?site=north").text)
    assert html.index("500") < html.index(found[0]["doubt"])
    assert "stands there now" in html


def test_scripts_ask_for_the_newest_entries_alone(client: TestClient, number: int) -> None:
    """The end of the whole answer, with how many there are; what stands there now rests on all of them."""
    for n in range(6):
        assert send(client, link(number), **{"set-1": "500", "sending": f"s{n}", "ask": "", "confirm-1": ""}).json()[
            "kept"
        ]
    where = f"/api/networks/{number}/timeline"
    for asked in ({}, {"site": "north"}):
        whole = client.get(where, params=asked).json()
        assert whole["entries_n"] == len(whole["entries"]) > 6
        for limit in (1, 4, 10_000):
            part = client.get(where, params={**asked, "limit": limit}).json()
            assert part == {**whole, "entries": whole["entries"][-limit:]}
    for wrong in ("0", "10001", "some"):
        assert client.get(where, params={"limit": wrong}).status_code == 422


def test_the_document_that_contradicts_a_report_stands_beside_it(client: TestClient, store: Store, number: int) -> None:
    """A revision that types another old value beats no report: both entries name each other."""
    assert send(client, link(number), **{"set-1": "500"}).json()["kept"]
    made = entries(client, number, "north")
    first = next(one for one in made if one["kind"] == "set-in-plan")
    reading = next(one for one in made if one["kind"] == "read")
    assert reading["contradicts"] == [first["id"]]
    assert first["contradicts"] == [reading["id"]]
    stands = present(client, number, "north")["codec delay"]
    assert (stands["value"], stands["plan_says"], stands["contradicted"]) == (500.0, 0.0, True)
    answer = client.get(f"/api/networks/{number}/timeline").json()
    assert "plan-old-value-contradicted" in {one["code"] for one in answer["problems"]}
    html = client.get(f"/networks/{number}/timeline").text
    assert f'href="#{first["id"]}"' in html
    assert f'id="{first["id"]}"' in html


def test_a_contradicted_present_value_stands_on_sites_and_chains(
    client: TestClient, post: Callable[..., Any], store: Store, number: int
) -> None:
    """Where the plan is edited and exported; beside the export, what is not in it; the check counts the reports."""
    page = f"/networks/{number}"
    assert client.get(f"/api/networks/{number}/check").json()["reported_fields_n"] == 0
    told = {"kind": "told", "site": "north", "set-1": "120", "author": "C. Room"}
    assert post(f"{page}/timeline", **told).status_code == 303
    assert client.get(f"/api/networks/{number}/check").json()["reported_fields_n"] == 1
    text = client.get(page).text.replace("\u202f", " ")
    assert "the plan says that codec delay is set to 0 µs now; 120 µs was told to the office" in text
    assert "are not in the document" in text


def test_everything_stands_on_it(client: TestClient, post: Callable[..., Any], store: Store, number: int) -> None:
    """Planned, begun with, signed, issued; told, locked, muted, on air, complained of, replaced; firmware."""
    address = f"/networks/{number}/timeline"
    at = {"author": "C. Room", "taken_at": "2026-01-01 00:00"}
    assert post(address, kind="told", site="north", **{"set-1": "120"}, author="C. Room").status_code == 303
    assert present(client, number, "north")["codec delay"]["value"] == 120.0
    locked = {f"lock-{key}": "agrees" for key in ("carrier", "pilot", "deviation", "polarity")}
    assert post(address, kind="lock", site="north", **locked, author="C. Room").status_code == 303
    assert post(address, kind="muted", site="south", words="for the test", author="C. Room").status_code == 303
    complaint = {"place": "Mill lane", "words": "it flutters", "receiver": "car", "at": "36.31, -84.2"}
    assert post(address, kind="complaint", site="", **complaint, author="C. Room").status_code == 303
    heard = next(one for one in entries(client, number) if one["kind"] == "complaint")
    assert heard["site"] is None
    then = {one["site_id"]: one for one in heard["on_air"]}
    assert then["south"]["silent"]
    assert then["north"]["fields"]["codec delay"] == [120.0, "us"]
    on_map = client.get(f"/networks/{number}/map").text
    assert 'data-lat="36.31" data-lon="-84.2"' in on_map
    assert f"/timeline#{heard['id']}" in on_map
    assert post(address, kind="unmuted", site="south", author="C. Room").status_code == 303
    assert post(address, kind="replaced", site="north", words="exciter 2 for 1", author="C. Room").status_code == 303
    assert present(client, number, "north")["codec delay"]["value"] is None
    document = store.read(number).document
    stage = document["sites"][0]["chains"][0]["stages"][-1]
    form = {"base": "1", "stage": stage, "firmware": "v9", "day": "2026-01-02", "author": "Ann"}
    assert post(f"/networks/{number}/ages", **form).status_code == 303

    found = entries(client, number)
    kinds = {one["kind"] for one in found}
    assert kinds >= {
        "planned", "set-in-plan", "signed-off", "issued", "told", "lock", "muted", "unmuted", "complaint", "replaced",
        "stage-changed",
    }  # fmt: skip
    assert [one["held_at"] for one in found] == sorted(one["held_at"] for one in found)
    changed = next(one for one in found if one["kind"] == "stage-changed")
    assert (changed["held_at"][:10], changed["doubt"]) == ("2026-01-02", "the day alone is known")
    html = client.get(address).text
    for words in ("Sheet issued", "Told to the office", "Lock proven", "Muted", "it flutters", "Device replaced", "v9"):
        assert words in html
    # A site's own page leaves the others out.
    assert {one["site"] for one in entries(client, number, "south")} <= {"south", None}
    assert at["author"] in html


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"kind": "told", "set-1": "12 or so"}, "number"),
        ({"kind": "told"}, "nothing was typed"),
        ({"kind": "told", "set-1": "99999999"}, "is outside what"),
        ({"kind": "told", "set-1": "0.5"}, "(a factor of 1,000)"),
        ({"kind": "told", "set-1": "50"}, "is a tenth of the planned"),
        ({"kind": "told", "set-1": "5", "taken_at": "soon"}, "is no time"),
        ({"kind": "told", "set-1": "5", "taken_at": "2099-01-01 00:00"}, "is to come"),
        ({"kind": "told", "set-1": "5", "site": "nowhere"}, "there is no site"),
        ({"kind": "lock"}, "nothing is said of the carrier"),
        ({"kind": "complaint", "place": "here"}, "nothing says what was heard"),
        ({"kind": "complaint", "place": "here", "words": "x", "at": "up the hill"}, "up the hill"),
        ({"kind": "complaint", "place": "here", "words": "x", "at": "-84.2, 36.27"}, "longitude exchanged"),
        ({"kind": "complaint", "place": "here", "words": "x", "at": "36.27, 84.2"}, "a minus before the longitude"),
        ({"kind": "complaint", "place": "here", "words": "x", "at": "47.1, 10.2"}, "km from the nearest site"),
        ({"kind": "replaced"}, "nothing says what was replaced"),
        ({"kind": "opinion"}, "is nothing to enter"),
        ({"kind": "told", "set-1": "5", "author": ""}, "a save needs a name"),
    ],
)
def test_what_cannot_be_used_is_refused_in_words(
    post: Callable[..., Any], store: Store, example: dict[str, Any], fields: dict[str, str], code: str
) -> None:
    """Nothing is written, and what was typed is still there."""
    number = store.create(example, author="test", reason="test").network_id
    before = len(store.entries.of(number))
    answer = post(f"/networks/{number}/timeline", **{"site": "north", "author": "C. Room", **fields})
    assert answer.status_code == 422
    assert code in answer.text
    assert len(store.entries.of(number)) == before
    if "place" in fields:
        assert 'value="here"' in answer.text


def test_an_odd_setting_may_be_confirmed(
    client: TestClient, post: Callable[..., Any], store: Store, example: dict[str, Any]
) -> None:
    """What the device shows is true even where the plan's limits say that it cannot be."""
    number = store.create(example, author="test", reason="test").network_id
    form = {"kind": "told", "site": "north", "set-1": "99999999", "author": "C. Room"}
    answer = post(f"/networks/{number}/timeline", **form)
    assert re.search(r'name="sure"', answer.text)
    assert post(f"/networks/{number}/timeline", **form, sure="yes").status_code == 303
    assert present(client, number, "north")["codec delay"]["value"] == 99999999.0


def test_the_office_reads_its_state_from_it(
    client: TestClient, post: Callable[..., Any], store: Store, number: int
) -> None:
    """A told value counts like a read one, fields told apart add up, and a replaced device is unknown again."""
    fields = store.read(number).document["sites"][1]["delay_fields"]
    planned = {
        one["field"]: one["planned"] for one in client.get(f"/api/networks/{number}/timeline").json()["present"]
        if one["site"] == "south"
    }  # fmt: skip

    def state() -> str:
        """What the office says of the site."""
        html = client.get(f"/networks/{number}/readings").text
        row = html[html.index('href="#site-south"') :]
        found = re.search(r'class="state state-(\w+)"', row)
        assert found
        return found[1]

    address = f"/networks/{number}/timeline"
    told = {"kind": "told", "site": "south", "author": "C. Room"}
    assert state() == "planned"
    assert post(address, **told, **{"set-1": str(planned[fields[0]["name"]])}).status_code == 303
    assert state() == "planned"  # the fine field is still unknown
    assert send(client, link(number, "south"), **{"set-2": str(planned[fields[1]["name"]])}).json()["kept"]
    assert state() == "set"
    assert post(address, **told, **{"set-1": "3"}).status_code == 303
    assert state() == "disagrees"
    assert post(address, **told, **{"set-1": str(planned[fields[0]["name"]])}).status_code == 303
    assert state() == "set"
    edit = edited(store, number, "", index="1") | {"sites-1-delay_fields-0-set": ""}
    edit.pop("sites-0-delay_fields-0-set")
    assert post(f"/networks/{number}/edit", **edit).status_code == 303
    assert present(client, number, "south")["codec delay"]["value"] is None
    assert state() == "planned"  # emptied in the plan: nobody knows any more
    assert post(address, kind="replaced", site="south", words="codec", author="C. Room").status_code == 303
    assert state() == "planned"


def edited(store: Store, number: int, value: str, **more: str) -> dict[str, str]:
    """The form of the northern site's page with another present value."""
    return {
        "base_revision": str(store.read(number).revision.number), "view": "site", "index": "0", "do": "save",
        "author": "Ann", "sites-0-delay_fields-0-set": value, **more,
    }  # fmt: skip


def test_a_present_value_typed_into_a_form_is_told_with_its_time(
    client: TestClient, post: Callable[..., Any], store: Store, number: int
) -> None:
    """It beats an older report by name, loses to a later one by name, and is never lost; a take-over tells nothing."""
    assert send(client, link(number), **{"set-1": "500"}).json()["kept"]
    edit, page = f"/networks/{number}/edit", f"/networks/{number}/sites/north"
    html = unescape(client.get(page).text)
    assert "the plan says 0" in html
    assert post(edit, **edited(store, number, "500")).status_code == 303
    assert "Saved as revision 2." in client.get(page).text
    assert [one["kind"] for one in entries(client, number, "north")].count("told") == 0

    yesterday = f"{datetime.now(UTC) - timedelta(days=1):%Y-%m-%d %H:%M}"
    assert post(edit, **edited(store, number, "450", set_at=yesterday)).status_code == 303
    assert "450 µs does not count now" in client.get(page).text.replace("\u202f", " ")
    stands = present(client, number, "north")["codec delay"]
    assert (stands["value"], stands["plan_says"]) == (500.0, 450.0)

    assert post(edit, **edited(store, number, "470")).status_code == 303
    said = client.get(page).text.replace("\u202f", " ")
    assert "470 µs counts as told by you, instead of 500 µs, read there" in said
    answer = client.get(f"/api/networks/{number}/timeline").json()
    assert present(client, number, "north")["codec delay"]["value"] == 470.0
    assert "told-against-reading" in {one["code"] for one in answer["problems"]}
    told = [one for one in answer["entries"] if one["kind"] == "told"]
    assert [(one["who"], one["values"]["fields"]["codec delay"]["value"]) for one in told] == [
        ("Ann", 450.0), ("Ann", 470.0),
    ]  # fmt: skip
    assert post(edit, **edited(store, number, "50")).status_code == 303
    assert "is a tenth of the planned 500" in client.get(page).text
    wrong = post(edit, **edited(store, number, "480", set_at="yesterday"))
    assert wrong.status_code == 422
    assert "'yesterday' is no time" in unescape(wrong.text)


def test_a_whole_document_beats_no_report_unless_it_says_since_when(
    client: TestClient, store: Store, number: int
) -> None:
    """An old export sent back says what its present values were; with a time they are told."""
    assert send(client, link(number), **{"set-1": "500"}).json()["kept"]
    document = store.read(number).document
    document["sites"][0]["delay_fields"][0]["set"] = 33
    body = {"document": document, "base_revision": 1, "author": "script", "reason": "old export"}
    answer = client.put(f"/api/networks/{number}", json=body).json()
    assert "plan-old-value-contradicted" in {one["code"] for one in answer["problems"]}
    assert present(client, number, "north")["codec delay"]["value"] == 500.0
    document["sites"][0]["delay_fields"][0]["set"] = 34
    at = f"{datetime.now(UTC) + timedelta(seconds=1):%Y-%m-%dT%H:%M:%SZ}"  # after the report
    body |= {"document": document, "base_revision": 2, "set_at": at}
    assert client.put(f"/api/networks/{number}", json=body).status_code == 200
    assert present(client, number, "north")["codec delay"]["value"] == 34.0
    refused = client.put(f"/api/networks/{number}", json=body | {"base_revision": 3, "set_at": "soon"})
    assert refused.json()["problems"][0]["code"] == "not-a-date"


def test_scripts_enter_things_too(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """The form under /api/pages, as one JSON object."""
    number = store.create(example, author="test", reason="test").network_id
    body = {"kind": "told", "site": "north", "set-1": 120, "words": "by phone", "taken_at": "", "author": "C. Room"}
    answer = client.post(f"/api/pages/networks/{number}/timeline", json=body)
    assert answer.status_code < 300, answer.text
    assert present(client, number, "north")["codec delay"]["value"] == 120.0


def test_delay_work_without_a_dated_proof_of_lock_is_questioned(
    client: TestClient, post: Callable[..., Any], store: Store, example: dict[str, Any]
) -> None:
    """A remark on every sheet until lock is proven at each site on air; one that differs, or a new device, undoes it."""
    number = store.create(example, author="test", reason="test").network_id
    address = f"/networks/{number}/timeline"
    agrees = {f"lock-{key}": "agrees" for key in ("carrier", "pilot", "deviation", "polarity")}

    def without() -> list[str]:
        """Sites that have none, by the check."""
        problems = client.get(f"/api/networks/{number}/check").json()["problems"]
        return next((one["sites"] for one in problems if one["code"] == "lock-proof-missing"), [])

    assert without() == ["north", "south", "gap"]
    assert "no dated proof of lock" in client.get(f"/networks/{number}/sheets/south").text
    for site in ("north", "south", "gap"):
        assert post(address, kind="lock", site=site, author="B. Field", **agrees).status_code == 303
    assert without() == []
    differs = agrees | {"lock-polarity": "differs"}
    assert post(address, kind="lock", site="south", author="B. Field", **differs).status_code == 303
    assert post(address, kind="replaced", site="gap", words="repeater", author="B. Field").status_code == 303
    assert without() == ["south", "gap"]


def test_a_position_that_is_right_as_written_is_taken(
    post: Callable[..., Any], store: Store, example: dict[str, Any]
) -> None:
    """Asked once; with the box ticked it stands as it was typed."""
    number = store.create(example, author="test", reason="test").network_id
    typed = {"kind": "complaint", "place": "far away", "words": "x", "at": "47.1, 10.2", "author": "C. Room"}
    address = f"/networks/{number}/timeline"
    assert 'name="sure"' in post(address, **typed).text
    assert post(address, **typed, sure="yes").status_code == 303
    (kept,) = store.entries.of(number, kind="complaint")
    assert (kept.body["lat_deg"], kept.body["lon_deg"]) == (47.1, 10.2)
