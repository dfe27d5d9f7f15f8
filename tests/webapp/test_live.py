"""A change under way: begun once, confirmed in order from telephones or on a call, ordered back with one button."""

import re
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.on_air.site_links import made_link
from webapp.shell.dependencies import opened
from webapp.standing.release import released
from webapp.store.store import Store
from webapp.store.timeline import BACK, BEGUN, ENDED, TOLD


@pytest.fixture
def number(store: Store, example: dict[str, Any], issue: Callable[[int], int]) -> int:
    """The example with its south link measured and its sheets issued: every site has something to set."""
    for stage in example["stages"][6:9]:
        stage |= {"source": "measured", "date": "2026-05-02", "tolerance_us": 0.1}
    example["common_delay"] = {"mode": "fixed", "value_us": 123_000}
    made = store.create(example, author="test", reason="test").network_id
    assert issue(made) == 1
    return made


@pytest.fixture
def begun(post: Callable[..., Any], number: int) -> int:
    """The change, begun with two hours to go."""
    deadline = f"{datetime.now(UTC) + timedelta(hours=2):%Y-%m-%d %H:%M}"
    answer = post(f"/networks/{number}/change/confirm/begin", author="C. Room", deadline=deadline)
    assert answer.status_code == 303, answer.text
    return number


def steps(store: Store, number: int) -> list[dict[str, Any]]:
    """Steps as they were written down."""
    return list(store.entries.of(number, kind=BEGUN)[-1].body["steps"])


def link(number: int, site: str) -> str:
    """A technician's address."""
    return "/site/" + made_link(
        "test-key-of-the-tests-that-nobody-guesses", network_id=number, site_id=site, revision=1, days=7
    )


def send(client: TestClient, number: int, step: dict[str, Any], key: str = "value") -> None:
    """A telephone reports a step's fields at their new, or old, values; whatever is asked is confirmed."""
    fields = {f"set-{n}": str(one[key]) for n, one in enumerate(step["fields"], 1)}
    address, headers = link(number, step["site"]), {"Accept": "application/json"}
    answer = client.post(address, data={"initials": "AE", **fields}, headers=headers)
    if answer.status_code == 422:
        ticks = {f"confirm-{n}": f"{q['field']}: {q['text']}" for n, q in enumerate(answer.json()["questions"])}
        answer = client.post(address, data={"initials": "AE", **fields, **ticks}, headers=headers)
    assert answer.json()["kept"], answer.text


def states(client: TestClient, number: int) -> dict[str, str]:
    """State of every step, by site."""
    found = client.get(f"/api/pages/networks/{number}/change/live").json()["live"]["change"]["steps"]
    return {one["step"]["site_id"]: one["state"] for one in found}


def test_steps_are_confirmed_in_order_by_telephone_and_on_a_call(
    client: TestClient, store: Store, begun: int, post: Callable[..., Any]
) -> None:
    """The first from its telephone, the second on a call with who said so, the third by telephone again."""
    first, second, third = steps(store, begun)
    assert {first["site"]: "turn", second["site"]: "waits", third["site"]: "waits"} == states(client, begun)
    assert "your turn" in client.get(link(begun, first["site"])).text
    waiting = client.get(link(begun, second["site"])).text
    assert "not yet" in waiting
    assert f"{first['name']} comes first" in waiting

    send(client, begun, first)
    assert {first["site"]: "made", second["site"]: "turn", third["site"]: "waits"} == states(client, begun)
    confirm = f"/networks/{begun}/change/confirm/step"
    refused = post(confirm, author="C. Room", site=third["site"], said_by="B. Oak")
    assert refused.status_code == 422
    assert f"{second['name']} first" in refused.text
    assert "nothing says who called" in post(confirm, author="C. Room", site=second["site"]).text
    assert post(confirm, author="C. Room", site=second["site"], said_by="B. Oak").status_code == 303
    send(client, begun, third)

    page = client.get(f"/networks/{begun}/change/live").text
    assert set(states(client, begun).values()) == {"made"}
    assert "C. Room, for B. Oak, told to the control room" in page
    assert "AE, at the site" in page
    assert "Every step is made." in page
    assert "B. Oak" in client.get(f"/networks/{begun}/timeline").text
    # What a site said is a report like any other: the way back of its sheet is still what stood before.
    assert store.entries.of(begun, kind=TOLD)[-1].site_id == second["site"]


def test_a_step_out_of_turn_is_kept_and_named(client: TestClient, store: Store, begun: int) -> None:
    """What was set before its turn is no secret: it is made, and the page says when."""
    first, second, _ = steps(store, begun)
    send(client, begun, second)
    assert ("turn", "made") == (states(client, begun)[first["site"]], states(client, begun)[second["site"]])
    assert "before its turn" in client.get(f"/networks/{begun}/change/live").text
    assert "Before its turn: another site comes first." in client.get(link(begun, second["site"])).text


def report_fields(client: TestClient, number: int, site: str, fields: dict[str, str]) -> None:
    """A telephone reports fields as typed; whatever is asked is confirmed."""
    address, headers = link(number, site), {"Accept": "application/json"}
    asked = client.post(address, data={"initials": "AE", **fields}, headers=headers).json().get("questions", [])
    ticks = {f"confirm-{n}": f"{q['field']}: {q['text']}" for n, q in enumerate(asked)}
    if ticks:
        assert client.post(address, data={"initials": "AE", **fields, **ticks}, headers=headers).json()["kept"]


def test_another_split_of_the_same_total_is_made_and_says_so(client: TestClient, store: Store, begun: int) -> None:
    """A millisecond moved from the coarse field to the fine one: the launch is the planned one, the next has its turn.

    A tenth of a microsecond more is no split: it disagrees.
    """
    first, second, _ = steps(store, begun)
    assert ("south", ["ms", "us"]) == (first["site"], [one["unit"] for one in first["fields"]])
    coarse, fine = (one["value"] for one in first["fields"])
    moved = {"set-1": f"{coarse - 1:g}", "set-2": f"{fine + 1000:.1f}"}
    report_fields(client, begun, "south", moved)
    assert {"south": "split", second["site"]: "turn"}.items() <= states(client, begun).items()
    page = client.get(f"/networks/{begun}/change/live").text
    assert "made: total right, split differs" in page
    assert ">disagrees</span>" not in page
    shown = client.get(link(begun, "south")).text
    assert "the total is right, split over the fields in another way than planned" in shown
    assert "does not agree: see below" not in shown

    time.sleep(1.1)  # held to the second
    report_fields(client, begun, "south", moved | {"set-2": f"{fine + 1000.1:.1f}"})
    assert {"south": "disagrees", second["site"]: "waits"}.items() <= states(client, begun).items()


def test_one_button_orders_everything_back(
    client: TestClient, store: Store, begun: int, post: Callable[..., Any]
) -> None:
    """What stood there before the change is what each site goes back to, the last step first; a site not yet changed stays."""
    first, second, third = steps(store, begun)
    document = {one["id"]: one for one in store.read(begun).document["sites"]}
    for one in (first, second, third):
        # By the document itself: nobody reported anything before.
        for field in one["fields"]:
            own = next(f for f in document[one["site"]]["delay_fields"] if f["name"] == field["name"])
            assert own["set"] == field["back"]
    send(client, begun, first)
    send(client, begun, second)
    before = client.get(link(begun, first["site"]) + "/state").json()["seen"]
    assert post(f"/networks/{begun}/change/confirm/back", author="C. Room").status_code == 303

    assert before != client.get(link(begun, first["site"]) + "/state").json()["seen"]
    assert {first["site"]: "to go back", second["site"]: "to go back", third["site"]: "as before"} == states(
        client, begun
    )
    page = client.get(f"/networks/{begun}/change/live").text
    assert page.index(second["name"] + "</th>") < page.index(first["name"] + "</th>")
    assert "GO BACK" in client.get(link(begun, second["site"])).text
    assert "GO BACK" not in client.get(link(begun, third["site"])).text
    send(client, begun, second, "back")
    answer = post(f"/networks/{begun}/change/confirm/step", author="C. Room", site=first["site"], said_by="B. Oak")
    assert answer.status_code == 303, answer.text
    assert set(states(client, begun).values()) == {"as before"}
    assert "Every site stands as before." in client.get(f"/networks/{begun}/change/live").text
    assert post(f"/networks/{begun}/change/confirm/end", author="C. Room").status_code == 303
    assert [1, 1] == [len(store.entries.of(begun, kind=kind)) for kind in (BACK, ENDED)]
    assert "No change is under way" in client.get(f"/networks/{begun}/change/live").text


def ordered_back(client: TestClient, number: int, site: str, fields: dict[str, str]) -> list[str]:
    """What a telephone is asked about such settings."""
    answer = client.post(
        link(number, site), data={"initials": "AE", **fields, "ask": "yes"}, headers={"Accept": "application/json"}
    )
    return [one["text"] for one in answer.json().get("questions", [])]


def test_a_telephone_speaks_of_going_back(
    client: TestClient, store: Store, begun: int, post: Callable[..., Any]
) -> None:
    """Ordered back: the old values are taken without a question, the new ones questioned; the launch is that of the old
    values, worked out here from the step's own fields; what was read before is marked; a site not changed is left.
    """
    first, second, third = steps(store, begun)
    assert first["site"] == "south"  # fed by cable: only its own fields move its launch
    maps = client.app.state.maps  # type: ignore[attr-defined]
    line = released(opened(store.read(begun), store, maps), store, maps).of("south")
    launch_us = line.sheet.routes[0].row.launch_us
    length_us = {"us": 1.0, "ms": 1000.0, "100ns": 0.1}
    old_us = launch_us + sum((f["back"] - f["value"]) * length_us[f["unit"]] for f in first["fields"])
    read = {f"reading-{n}": f"{launch_us:.2f}" for n in (1, 2, 3)} | {"plane": "antenna", "initials": "AE"}
    new, old = ({f"set-{n}": str(f[key]) for n, f in enumerate(first["fields"], 1)} for key in ("value", "back"))
    address, headers = link(begun, "south"), {"Accept": "application/json"}
    assert client.post(address, data=read | new, headers=headers).json()["kept"]
    assert "Every reading agrees with the plan. <span" in client.get(address).text  # sent: not "Send it" any more
    send(client, begun, second)
    assert post(f"/networks/{begun}/change/confirm/back", author="C. Room").status_code == 303

    page = client.get(address).text
    verdict = page[page.index('id="verdict"') : page.index('id="connection"')]
    assert "Go back" in verdict
    assert "agrees with the plan" not in page
    assert f"{old_us:,.2f}".replace(",", "\u202f") in page[: page.index('id="verdict"')]
    assert f"{launch_us:,.2f}".replace(",", "\u202f") not in page[: page.index('id="verdict"')]
    assert "read with the setting that was taken back" in client.get(f"/networks/{begun}/change/live").text
    assert [] == ordered_back(client, begun, "south", old)
    asked = ordered_back(client, begun, "south", new)
    assert len(asked) == sum(f["back"] != f["value"] for f in first["fields"])
    assert all("is the value that is taken back, the order is to go back to" in one for one in asked)

    left = client.get(link(begun, third["site"])).text
    assert "Not changed: leave as it is." in left
    assert "<del>" not in left
    assert 'id="verdict"' not in left
    # With the old values, and the launch that they give: gone back.
    again = {f"reading-{n}": f"{old_us:.2f}" for n in (1, 2, 3)} | {"plane": "antenna", "initials": "AE"}
    assert client.post(address, data=again | old, headers=headers).json()["kept"]
    gone = client.get(address).text
    assert "Every reading is the launch with the old values. Tell the control room." in gone
    live = client.get(f"/networks/{begun}/change/live").text
    assert "against the launch with the old values: gone back" in live


def test_a_launch_that_disagrees_stops_the_order(client: TestClient, store: Store, begun: int) -> None:
    """Set as planned and read 9 us late, twice: the control room sees it with its tolerance, and nobody else's turn comes."""
    first, second, _ = steps(store, begun)
    send(client, begun, first)
    address = link(begun, first["site"])
    maps = client.app.state.maps  # type: ignore[attr-defined]
    line = released(opened(store.read(begun), store, maps), store, maps).of(first["site"])
    launch_us = line.sheet.routes[0].row.launch_us
    data = {
        "initials": "AE",
        "plane": "antenna",
        "reading-1": f"{launch_us + 9.03:.2f}",
        "reading-2": f"{launch_us + 9.13:.2f}",
    }
    headers = {"Accept": "application/json"}
    asked = client.post(address, data=data, headers=headers).json()["questions"]
    ticks = {f"confirm-{n}": f"{q['field']}: {q['text']}" for n, q in enumerate(asked)}
    assert client.post(address, data=data | ticks, headers=headers).json()["kept"]

    found = states(client, begun)
    assert ("disagrees", "waits") == (found[first["site"]], found[second["site"]])
    page = client.get(f"/networks/{begun}/change/live").text
    assert "roll back" in page
    assert "+9.13" in page


def test_beginning_needs_issued_sheets_and_a_deadline_to_come(
    client: TestClient, store: Store, example: dict[str, Any], number: int, post: Callable[..., Any]
) -> None:
    """Refused in words; nothing begins twice; time left is counted from the server's clock."""
    begin = f"/networks/{number}/change/confirm/begin"
    for deadline, words in (("", "by when"), ("2020-01-01 04:00", "no time to come"), ("soon", "no time to come")):
        answer = post(begin, author="C. Room", deadline=deadline)
        assert (answer.status_code, words in answer.text) == (422, True)
        assert f'value="{deadline}" aria-invalid="true"' in answer.text, "what was typed is there to be mended"
    later = f"{datetime.now(UTC) + timedelta(hours=3, minutes=30):%Y-%m-%d %H:%M}"
    assert post(begin, author="C. Room", deadline=later).status_code == 303
    assert "a change is under way already" in post(begin, author="C. Room", deadline=later).text
    assert "3 h " in client.get(f"/networks/{number}/change/live").text
    assert "is not finished" in post(f"/networks/{number}/change/confirm/end", author="C. Room").text
    assert post(f"/networks/{number}/change/confirm/end", author="C. Room", unfinished="yes").status_code == 303

    example["sites"][0]["offset_us"] = 50
    store.save(number, example, base_revision=1, author="test", reason="moved")
    refused = post(begin, author="C. Room", deadline=later)
    assert refused.status_code == 422
    assert "are not issued" in refused.text


def test_it_works_without_a_script(client: TestClient, begun: int) -> None:
    """The page looks itself up again without one, and holds no script of its own."""
    page = client.get(f"/networks/{begun}/change/live").text
    assert '<noscript><meta http-equiv="refresh" content="20"></noscript>' in page
    assert page.count("<script") == page.count("<script src=")


def test_what_is_withheld_is_told_by_nobody(
    client: TestClient, store: Store, example: dict[str, Any], begun: int, post: Callable[..., Any]
) -> None:
    """After another save the telephones' sheets are stale: no new value on the page, in its JSON, nor on a call; the way back stays."""
    first, *_ = steps(store, begun)
    example["sites"][0]["offset_us"] = 50
    store.save(begun, example, base_revision=1, author="test", reason="moved")

    page = client.get(f"/networks/{begun}/change/live").text
    assert "The plan is at revision 2 now" in page
    found = client.get(f"/api/pages/networks/{begun}/change/live").json()["live"]["change"]["steps"]
    assert {None} == {field["value"] for one in found for field in one["step"]["fields"]}
    assert {None} == {field["field"]["value"] for one in found for field in one["fields"]}
    assert None not in {field["back"] for one in found for field in one["step"]["fields"]}
    refused = post(f"/networks/{begun}/change/confirm/step", author="C. Room", site=first["site"], said_by="B. Oak")
    assert "may not be gone by any more" in refused.text
    assert post(f"/networks/{begun}/change/confirm/back", author="C. Room").status_code == 303
    assert post(f"/networks/{begun}/change/confirm/end", author="C. Room", unfinished="yes").status_code == 303
    # Nothing is issued in revision 2: a change that cannot begin tells no value either.
    assert [] == client.get(f"/api/pages/networks/{begun}/change/live").json()["steps"]


def test_what_was_set_before_the_order_without_a_connection_arrives_unasked_and_is_to_go_back(
    client: TestClient, store: Store, begun: int, post: Callable[..., Any]
) -> None:
    """Pressed as planned, sent when the net is back after GO BACK: nothing holds it up, and the control room sees it."""
    first, *_ = steps(store, begun)
    pressed = datetime.now(UTC)
    time.sleep(1.1)  # held to the second
    assert post(f"/networks/{begun}/change/confirm/back", author="C. Room").status_code == 303
    assert "as before" == states(client, begun)[first["site"]]
    clock = {"taken_clock": pressed.isoformat(), "phone_clock": datetime.now(UTC).isoformat()}
    fields = {f"set-{n}": str(one["value"]) for n, one in enumerate(first["fields"], 1)}
    address = link(begun, first["site"])
    answer = client.post(address, data={"initials": "AE", **clock, **fields}, headers={"Accept": "application/json"})
    assert answer.json().get("kept"), answer.text
    assert "to go back" == states(client, begun)[first["site"]]
    assert "GO BACK" in client.get(address).text


@pytest.mark.parametrize(("off_ms", "after"), [(-300, False), (300, True)])
def test_two_within_a_second_have_an_order_and_it_is_said(
    client: TestClient, store: Store, begun: int, post: Callable[..., Any], off_ms: int, after: bool,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """Pressed 0.3 s before or after the order, in its second or not: by the fraction, and clocks are said to leave it open."""
    first, *_ = steps(store, begun)
    assert post(f"/networks/{begun}/change/confirm/back", author="C. Room").status_code == 303
    order = store.entries.of(begun, kind=BACK)[-1].made_at
    pressed, arrives = order + timedelta(milliseconds=off_ms), order + timedelta(milliseconds=800)

    class ArrivesThen(datetime):
        """The server's clock: how long a request takes on this machine is no part of this."""

        @classmethod
        def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
            """When it arrives."""
            return arrives.astimezone(tz)

    monkeypatch.setattr("webapp.on_air.site_reading.datetime", ArrivesThen)
    clock = {"taken_clock": pressed.isoformat(), "phone_clock": arrives.isoformat()}
    fields = {f"set-{n}": str(one["value"]) for n, one in enumerate(first["fields"], 1)}
    data = {"initials": "AE", "ask": "yes", **clock, **fields}
    headers = {"Accept": "application/json"}
    address = link(begun, first["site"])
    asked = client.post(address, data=data, headers=headers).json().get("questions", [])
    assert after == any("the value that is taken back" in one["text"] for one in asked)
    del data["ask"]
    ticks = {f"confirm-{n}": f"{q['field']}: {q['text']}" for n, q in enumerate(asked)}
    assert client.post(address, data=data | ticks, headers=headers).json()["kept"]
    page = client.get(address).text
    assert ("Sent before the change was taken back" in page) == (not after)
    assert f"counted as {'after' if after else 'before'} it" in page


def test_a_time_typed_to_the_minute_of_the_order_goes_by_its_arrival(
    client: TestClient, store: Store, begun: int, post: Callable[..., Any]
) -> None:
    """The minute holds both sides of the order: what arrives after it is after it, and that is said."""
    first, *_ = steps(store, begun)
    assert post(f"/networks/{begun}/change/confirm/back", author="C. Room").status_code == 303
    order = store.entries.of(begun, kind=BACK)[-1].made_at
    data = {"initials": "AE", "taken_at": f"{order:%Y-%m-%d %H:%M}"}
    data |= {f"set-{n}": str(one["back"]) for n, one in enumerate(first["fields"], 1)}
    address = link(begun, first["site"])
    assert client.post(address, data=data, headers={"Accept": "application/json"}).json()["kept"]
    page = client.get(address).text
    assert "Sent before the change was taken back" not in page
    assert "counted as after it" in page


def overview(client: TestClient, number: int) -> dict[str, dict[str, Any]]:
    """Every site's line in the office's overview."""
    found = client.get(f"/api/pages/networks/{number}/readings").json()["lines"]
    return {one["sheet"]["site"]["id"]: one["state"] for one in found}


def taken_back(client: TestClient, store: Store, number: int, post: Callable[..., Any]) -> list[dict[str, Any]]:
    """Two of three steps made, everything ordered back, both read back at the old values; gives the steps."""
    made = steps(store, number)
    for one in made[:2]:
        send(client, number, one)
    assert post(f"/networks/{number}/change/confirm/back", author="C. Room").status_code == 303
    for one in made[1::-1]:
        send(client, number, one, "back")
    return made


def test_what_went_back_as_ordered_does_not_disagree_until_another_change_begins(
    client: TestClient, store: Store, begun: int, post: Callable[..., Any]
) -> None:
    """While it goes back and after its end; the launch there is that of the old values."""
    first, second, third = taken_back(client, store, begun, post)
    for _ in ("under way", "ended"):
        found = overview(client, begun)
        assert ["gone back", "gone back"] == [found[one["site"]]["state"] for one in (first, second)]
        for one in (first, second):
            assert {0} == {line["off_us"] for line in found[one["site"]]["settings"]["settings"]}
        page = client.get(f"/networks/{begun}/readings").text
        assert page.count('state-gone-back">gone back, as ordered') == 2
        assert "<b>2</b> gone back, as ordered" in page
        post(f"/networks/{begun}/change/confirm/end", author="C. Room")
    # A launch with the old values that is 9 us late does disagree, whatever was ordered.
    maps = client.app.state.maps  # type: ignore[attr-defined]
    line = released(opened(store.read(begun), store, maps), store, maps).of("south")
    length_us = {"us": 1.0, "ms": 1000.0, "100ns": 0.1}
    south = next(one for one in (first, second) if one["site"] == "south")
    old_us = line.sheet.routes[0].row.launch_us + sum(
        (f["back"] - f["value"]) * length_us[f["unit"]] for f in south["fields"]
    )
    read(client, begun, "south", old_us + 9.0)
    assert "disagrees" == overview(client, begun)["south"]["state"]
    read(client, begun, "south", old_us + 0.01)
    found = overview(client, begun)["south"]
    off_us = pytest.approx(0.01, abs=6e-4)  # typed to 3 decimals
    assert ("gone back", off_us) == (found["state"], found["measured"]["off_us"])

    deadline = f"{datetime.now(UTC) + timedelta(hours=2):%Y-%m-%d %H:%M}"
    assert post(f"/networks/{begun}/change/confirm/begin", author="C. Room", deadline=deadline).status_code == 303
    assert "gone back" not in {one["state"] for one in overview(client, begun).values()}
    assert third["site"] in overview(client, begun)


def read(client: TestClient, number: int, site: str, launch_us: float) -> None:
    """Three launches at the antenna; whatever is asked is confirmed."""
    data = {f"reading-{n}": f"{launch_us:.3f}" for n in (1, 2, 3)} | {"plane": "antenna", "initials": "AE"}
    headers = {"Accept": "application/json"}
    answer = client.post(link(number, site), data=data, headers=headers)
    if answer.status_code == 422:
        ticks = {f"confirm-{n}": f"{q['field']}: {q['text']}" for n, q in enumerate(answer.json()["questions"])}
        answer = client.post(link(number, site), data=data | ticks, headers=headers)
    assert answer.json()["kept"], answer.text


def test_after_the_end_a_telephone_asks_for_nothing_that_was_taken_back(
    client: TestClient, store: Store, begun: int, post: Callable[..., Any]
) -> None:
    """Gone back and read so, told so on a call, never changed: each page says what stands, and asks for no new value."""
    first, second, third = taken_back(client, store, begun, post)
    assert post(f"/networks/{begun}/change/confirm/end", author="C. Room").status_code == 303

    for one in (first, second):
        page = client.get(link(begun, one["site"])).text
        top = page[: page.index('id="connection"')]
        assert "Gone back, as ordered." in top
        assert "the change is over" in top
        assert "Set to</th>" not in top
        assert "Go back to" in top
    left = client.get(link(begun, third["site"])).text
    assert "Not changed: leave as it is." in left
    assert 'id="verdict"' not in left
    # Set anew for all that, on the control room's word: the page goes by what was sent.
    send(client, begun, first)
    assert "Gone back, as ordered." not in client.get(link(begun, first["site"])).text


def test_what_stands_as_planned_already_is_not_asked_for_again(
    client: TestClient, store: Store, begun: int, post: Callable[..., Any], issue: Callable[[int], int]
) -> None:
    """Told on a call, and read under the revision before: the page of the sheet begins with what stands there."""
    first, second, third = steps(store, begun)
    send(client, begun, first)
    assert post(f"/networks/{begun}/change/confirm/step", author="C. Room", site=second["site"], said_by="B. Oak")
    send(client, begun, third)
    assert post(f"/networks/{begun}/change/confirm/end", author="C. Room").status_code == 303
    page = client.get(link(begun, second["site"])).text
    verdict = page[page.index('id="verdict"') : page.index('id="connection"')]
    assert "Set as planned" in verdict
    assert "As told to the control room" in verdict
    assert "Nothing typed yet" not in verdict

    base = store.read(begun)
    store.save(begun, {**base.document, "name": "renamed"}, base_revision=1, author="test", reason="name")
    assert issue(begun) == 2
    anew = "/site/" + made_link(
        "test-key-of-the-tests-that-nobody-guesses", network_id=begun, site_id=first["site"], revision=2, days=7
    )
    page = client.get(anew).text
    verdict = page[page.index('id="verdict"') : page.index('id="connection"')]
    assert "Set as planned" in verdict
    assert "AE" in verdict


def test_a_change_stands_on_the_timeline(
    client: TestClient, store: Store, begun: int, post: Callable[..., Any]
) -> None:
    """Its beginning with the deadline, the order to go back, and its end with how each site stood."""
    made = taken_back(client, store, begun, post)
    assert post(f"/networks/{begun}/change/confirm/end", author="N. Shift").status_code == 303

    found = client.get(f"/api/networks/{begun}/timeline").json()["entries"]
    kinds = [one["kind"] for one in found if one["kind"].startswith("change-")]
    assert ["change-begun", "change-back", "change-ended"] == kinds
    start, back, over = (one for one in found if one["kind"].startswith("change-"))
    assert [one["site"] for one in made] == start["values"]["sites"]
    assert start["values"]["deadline_at"][:16] == store.entries.of(begun, kind=BEGUN)[0].body["deadline_at"][:16]
    assert ("C. Room", "N. Shift") == (back["who"], over["who"])
    assert {"as before"} == set(over["values"]["states"].values())
    page = client.get(f"/networks/{begun}/timeline?site=south").text
    for words in ("Change begun", "Everything ordered back", "Change ended", "as before"):
        assert words in page


def test_the_name_of_the_site_that_comes_first_is_seen_as_a_name(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int], post: Callable[..., Any]
) -> None:
    """A telephone that must wait for a site called "at once" does not read "not yet: at once"."""
    for stage in example["stages"][6:9]:
        stage |= {"source": "measured", "date": "2026-05-02", "tolerance_us": 0.1}
    example["common_delay"] = {"mode": "fixed", "value_us": 123_000}
    for site in example["sites"]:
        site["name"] = {"north": "at once", "south": "not", "gap": "100 m mast"}[site["id"]]
    number = store.create(example, author="test", reason="test").network_id
    assert issue(number) == 1
    deadline = f"{datetime.now(UTC) + timedelta(hours=2):%Y-%m-%d %H:%M}"
    assert post(f"/networks/{number}/change/confirm/begin", author="C. Room", deadline=deadline).status_code == 303
    first, second, _ = steps(store, number)

    waiting = client.get(link(number, second["site"])).text

    assert f"<b>not yet</b>: &#34;{first['name']}&#34; comes first" in waiting
    refused = post(f"/networks/{number}/change/confirm/step", author="C", said_by="A", site=second["site"])
    assert f"&#34;{first['name']}&#34; first" in refused.text


def told_back(html: str) -> list[str]:
    """What a telephone's page rolls each field back to."""
    return re.findall(r'<td class="set-to">[^<]*</td><td>(.*?)</td>', html)


def test_a_wrong_setting_that_was_sent_is_no_way_back(client: TestClient, store: Store, begun: int) -> None:
    """Set wrong and confirmed: the telephone still goes back to what was written down, and says that it is not set."""
    first, *_ = steps(store, begun)
    address = link(begun, first["site"])
    before = told_back(client.get(address).text)
    wrong = {**first, "fields": [one | {"value": one["back"] + 7} for one in first["fields"]]}

    send(client, begun, wrong)

    html = client.get(address).text
    assert len(first["fields"]) == len(before)
    assert before == told_back(html)
    assert 'class="verdict" data-does="set"' in html
    assert "that is not what this sheet sets" in html
    assert "disagrees" == states(client, begun)[first["site"]]
    send(client, begun, first, "back")
    assert before == told_back(client.get(address).text)
    assert 'class="verdict" data-does="gone back"' in client.get(address).text


def test_without_a_change_both_are_told(client: TestClient, store: Store, number: int) -> None:
    """Something else than the sheet's since its issue: found so, or a slip; the telephone names both."""

    def backs() -> list[dict[str, Any]]:
        """As the sheet has them."""
        found = client.get(f"/api/pages/networks/{number}/sheets/south").json()["sheet"]["routes"][0]["fields"]
        return [one["back"] for one in found]

    made = backs()
    wrong = {"site": "south", "fields": [{"value": one["value"] + 7} for one in made]}

    send(client, number, wrong)

    assert [one["value"] for one in made] == [one["at_issue"] for one in backs()]
    assert [one["value"] for one in wrong["fields"]] == [one["value"] for one in backs()]
    html = client.get(link(number, "south")).text
    assert 'class="verdict" data-does="set"' in html
    assert all("as AE reported since the issue" in told for told in told_back(html))
    assert "found so, or a slip?" in client.get(f"/networks/{number}/change").text


def test_a_change_begun_after_a_slip_names_both_ways_back(
    client: TestClient, store: Store, number: int, post: Callable[..., Any]
) -> None:
    """Before it begins, while it is under way, on a call, and at the site: what was reported, and what stood at the issue."""
    sheet = client.get(f"/api/pages/networks/{number}/sheets/south").json()["sheet"]
    lines = sheet["routes"][0]["fields"]
    stood = [one["back"]["value"] for one in lines]
    slip = {"site": "south", "fields": [{"value": value + 7} for value in stood]}
    send(client, number, slip)
    live = f"/networks/{number}/change/live"
    page = client.get(live).text
    assert "Two old values stand against each other." in page
    assert "said to have stood there at or since the issue" in page
    deadline = f"{datetime.now(UTC) + timedelta(hours=2):%Y-%m-%d %H:%M}"
    assert post(f"{live[:-5]}/confirm/begin", author="C. Room", deadline=deadline).status_code == 303
    south = next(one for one in steps(store, number) if one["site"] == "south")
    assert [(one["back"], one["or_back"]) for one in south["fields"]] == [(value + 7, [value]) for value in stood]
    page = client.get(live).text
    assert page.count("said to have stood there too. Found so, or a slip?") == 2 * len(stood), "table, and going back"
    told = told_back(client.get(link(number, "south")).text)
    assert all("said to have stood there too. Ask the control room which." in one for one in told)
    send(client, number, south)
    assert post(f"{live[:-5]}/confirm/back", author="C. Room").status_code == 303
    assert "said to have stood there too. Ask the control room which." in client.get(link(number, "south")).text
    others = [one for one in steps(store, number) if one["site"] != "south"]
    assert all(field["or_back"] == [] for one in others for field in one["fields"])


def test_an_order_to_go_back_outlives_a_new_revision(
    client: TestClient, store: Store, begun: int, post: Callable[..., Any]
) -> None:
    """Somebody saves while everything goes back: a telephone still says to what, and that it stands once it does."""
    first, *_ = steps(store, begun)
    send(client, begun, first)
    assert post(f"/networks/{begun}/change/confirm/back", author="C. Room").status_code == 303
    before = client.get(link(begun, first["site"])).text
    base = store.read(begun)
    store.save(begun, {**base.document, "name": "renamed"}, base_revision=1, author="test", reason="name")

    html = client.get(link(begun, first["site"])).text

    order = re.findall(r'<p class="stale-word">GO BACK</p><p>(.*?)</p>', html)
    assert order == re.findall(r'<p class="stale-word">GO BACK</p><p>(.*?)</p>', before)
    assert len(order) == 1
    assert "The plan is at revision 2 by now" in html
    assert "STALE SHEET" not in html
    send(client, begun, first, "back")
    after = client.get(link(begun, first["site"])).text
    assert "GO BACK" not in after
    assert "The old values stand here: leave them." in after
    assert "as before" == states(client, begun)[first["site"]]
