"""Readings from a site: what a signed link opens, what is questioned, what the office then sees."""

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from sfn.timing import delay_table
from tests.webapp.conftest import token_in, when_made
from webapp.on_air.site_links import made_link, open_link, read_link, token_of
from webapp.shell.problems import RefusedError
from webapp.store.audit import ACTING, Acting
from webapp.store.documents import network_of
from webapp.store.passwords import hash_password
from webapp.store.store import Store

PASSWORD = "long enough for anyone"


@pytest.fixture
def issued(store: Store, issue: Callable[[int], int]) -> Callable[[dict[str, Any]], int]:
    """Put a document into the store, its common delay fixed, and issue its sheets in revision 1."""

    def act(document: dict[str, Any]) -> int:
        value_us = delay_table(network_of(document, "")).common_delay_us
        document["common_delay"] = {"mode": "fixed", "value_us": value_us}
        made = store.create(document, author="test", reason="test").network_id
        assert issue(made) == 1
        return made

    return act


@pytest.fixture
def number(issued: Callable[[dict[str, Any]], int], example: dict[str, Any]) -> int:
    """The example with its south link measured, issued: no first try, so the settings are those of the delay table."""
    for stage in example["stages"][6:9]:
        stage |= {"source": "measured", "date": "2026-05-02", "tolerance_us": 0.1}
    return issued(example)


def link(number: int, site: str = "north", revision: int = 1, days: int = 7) -> str:
    """The address of a signed link."""
    token = made_link(
        "test-key-of-the-tests-that-nobody-guesses", network_id=number, site_id=site, revision=revision, days=days
    )
    return f"/site/{token}"


def launch_us(store: Store, number: int, site: str = "north") -> float:
    """The planned launch."""
    return delay_table(network_of(store.read(number).document, "")).row(site).launch_us


def send(client: TestClient, address: str, **fields: str) -> Any:
    """Send a reading as the page's script does."""
    data = {"initials": "AE", "plane": "antenna", **fields}
    return client.post(address, data=data, headers={"Accept": "application/json"})


def test_a_link_opens_one_site_without_the_password_and_nothing_else(
    client_with: Callable[..., TestClient], number: int
) -> None:
    """With a password in force the link shows its site; the network, other sites and the overview stay shut."""
    client = client_with(password_hash=hash_password(PASSWORD))
    shown = client.get(link(number))

    assert shown.status_code == 200
    assert "North ridge" in shown.text
    assert "gives no authority to climb" in shown.text
    assert f"/networks/{number}" not in shown.text
    linked = {a for a in re.findall(r'(?:href|action|src)="([^"#]+)', shown.text) if not a.startswith("tel:")}
    assert any(a.startswith("/site/") for a in linked)
    for address in linked:
        assert client.get(address, follow_redirects=False).status_code in (200, 405), address
    for address in (f"/networks/{number}", f"/networks/{number}/sheets/north", f"/networks/{number}/readings", "/"):
        assert client.get(address, follow_redirects=False).headers["location"].startswith("/log-in")


def test_a_link_cannot_be_changed_and_ends(number: int, client: TestClient) -> None:
    """One letter other is no link of ours, another key signs nothing, and its days are counted."""
    token = link(number).removeprefix("/site/")
    other = made_link("another-key", network_id=number, site_id="north", revision=1, days=7)

    assert (
        read_link(
            "test-key-of-the-tests-that-nobody-guesses", token, now=datetime.now(UTC) + timedelta(days=6.9)
        ).site_id
        == "north"
    )
    with pytest.raises(RefusedError) as over:
        read_link("test-key-of-the-tests-that-nobody-guesses", token, now=datetime.now(UTC) + timedelta(days=7.1))
    assert over.value.status == 410
    assert client.get(f"/site/{other}").status_code == 404
    assert client.get(f"/site/X{token[1:]}").status_code == 404


def test_a_session_cookie_is_no_link(client: TestClient, number: int) -> None:
    """The signature of a session does not open a site."""
    client.get("/")
    assert client.get(f"/site/{client.cookies['sfn_delays_session']}").status_code == 404


def test_a_reading_is_kept_and_the_office_sees_it_measured(client: TestClient, store: Store, number: int) -> None:
    """Cable and demodulator are subtracted, shown, and the site counts as measured."""
    launch = launch_us(store, number)
    fields = {"set-1": "500", "reading-1": f"{launch + 2.8:.4f}", "test_cable_us": "0,3", "demodulator_us": "2.5"}
    sent = send(client, link(number), **fields)
    assert sent.json()["kept"], sent.text
    page = client.get(f"/networks/{number}/readings").text
    assert "state-measured" in page
    assert "cable 0.300" in page
    assert "demodulator 2.500" in page


@pytest.mark.parametrize(
    ("site", "field", "typed", "words"),
    [
        ("south", "set-1", "106000", "in microseconds"),
        ("south", "set-1", "0", "is the old value"),
        ("south", "set-2", "-382.7", "is the sign meant"),
        ("south", "reading-1", "122.6", "in ms"),
    ],
)
def test_a_slip_is_questioned_in_its_words_and_may_be_confirmed(
    client: TestClient, store: Store, number: int, site: str, field: str, typed: str, words: str
) -> None:
    """Sign, unit, old value and factor are asked about at once; nothing is kept until it is confirmed."""
    address = link(number, site)
    asked = send(client, address, **{field: typed})

    assert asked.status_code == 422
    texts = [f"{q['field']}: {q['text']}" for q in asked.json()["questions"]]
    assert any(words in text for text in texts), texts
    assert store.entries.of(number, kind="reading") == ()
    confirmed = {f"confirm-{n}": text for n, text in enumerate(texts)}
    assert send(client, address, **{field: typed}, **confirmed).json()["kept"]
    (kept,) = store.entries.of(number, kind="reading")
    assert len(kept.body["confirmed"]) == len(texts)
    assert not any(text.startswith("set-") for text in kept.body["confirmed"])  # the field's own name stands there
    assert "state-disagrees" in client.get(f"/networks/{number}/readings").text


def test_a_confirmed_question_stays_confirmed_while_another_is_open(client: TestClient, number: int) -> None:
    """With one of two questions ticked both come back, the ticked one ticked, so that neither is asked in turns."""
    address, typed = link(number, "south"), {"set-1": "0", "set-2": "0"}
    first, second = send(client, address, **typed).json()["questions"]
    tick = {"confirm-1": f"{first['field']}: {first['text']}"}

    asked = send(client, address, **typed, **tick).json()["questions"]
    assert [(first["field"], True), (second["field"], False)] == [(q["field"], q["confirmed"]) for q in asked]
    page = client.post(address, data={"initials": "AE", **typed, **tick}).text
    assert page.count(" checked>") == 1


def test_the_same_sending_twice_is_kept_once(client: TestClient, store: Store, number: int) -> None:
    """An answer lost on the way does not make two readings."""
    for _ in range(2):
        assert send(client, link(number), remarks="mast iced", sending="one").json()["kept"]
    assert len(store.entries.of(number, kind="reading")) == 1


@pytest.mark.parametrize("second", ["one", "two"])
def test_a_sending_that_comes_again_while_the_first_is_written_is_kept_once(
    client: TestClient, store: Store, number: int, monkeypatch: pytest.MonkeyPatch, second: str
) -> None:
    """A page reloaded while it sent: both look before either has written. By the name of the sending, or the press."""
    typed = {"remarks": "mast iced", "taken_clock": "2026-09-14T08:30:00.125Z"}
    clocks = ({"phone_clock": "2026-09-14T08:31:00Z"}, {"phone_clock": "2026-09-14T08:31:01Z"})
    add, again = store.entries.add, iter([True])

    def add_late(*args: Any, **kwargs: Any) -> None:
        """The second sending is taken in full before the first one is written."""
        if next(again, False):
            assert send(client, link(number), sending=second, **typed, **clocks[1]).json()["kept"]
        add(*args, **kwargs)

    monkeypatch.setattr(store.entries, "add", add_late)
    assert send(client, link(number), sending="one", **typed, **clocks[0]).json()["kept"]
    assert len(store.entries.of(number, kind="reading")) == 1


def test_the_form_works_without_a_script(client: TestClient, store: Store, number: int) -> None:
    """A plain post is answered with a page: again with what was typed, or with thanks."""
    address = link(number)
    again = client.post(address, data={"set-1": "many", "remarks": "windy"})
    assert again.status_code == 422
    assert "windy" in again.text
    assert "a reading needs initials" in again.text

    thanks = client.post(address, data={"remarks": "windy", "initials": "AE"})
    assert "The office has it" in thanks.text
    assert store.entries.of(number, kind="reading")[0].made_by == "AE"


def test_a_stale_link_says_so_and_still_takes_readings(
    client: TestClient, store: Store, example: dict[str, Any], number: int
) -> None:
    """After another save the sheet is stale, in large letters; nothing typed is lost."""
    example["sites"][0]["delay_fields"][0]["greatest"] = 1_000_000
    store.save(number, example, base_revision=1, author="test", reason="limits")

    assert "STALE SHEET" in client.get(link(number)).text
    assert send(client, link(number), remarks="done yesterday").json()["kept"]
    assert "STALE SHEET" not in client.get(link(number, revision=2)).text


def test_restart_scatter_becomes_a_tolerance(
    client: TestClient, store: Store, number: int, post: Callable[..., Any]
) -> None:
    """Three launches after restarts scatter, and the office may take the scatter as a stage's restart tolerance."""
    launch = launch_us(store, number)
    readings = {f"reading-{n}": f"{launch + off:.4f}" for n, off in ((1, -0.1), (2, 0.0), (3, 0.1))}
    assert send(client, link(number), **readings).json()["kept"]
    address = f"/networks/{number}/readings"
    assert "after the next restart" in client.get(address).text

    answer = post(f"{address}/restarts", author="AE", stage="north-exciter", site="north", base="1")
    assert answer.status_code == 303
    stage = next(s for s in store.read(number).document["stages"] if s["id"] == "north-exciter")
    # Student's t for 2 degrees of freedom, 4.3027, times 0.1 times sqrt(4/3).
    assert pytest.approx(0.4968, abs=2e-4) == stage["tolerance_us"]
    assert stage["tolerance_kind"] == "restart"


def test_links_are_made_with_codes(
    client: TestClient, client_with: Callable[..., TestClient], number: int, issue: Callable[[int], int]
) -> None:
    """Every site whose sheet is issued has its link and its code, and each link opens."""
    client = client_with(public_url="https://sfn.example.org")
    made = send_form(client, f"/networks/{number}/readings/links", site="", days="3")
    assert made.headers["location"].endswith("/readings/links")
    text = client.get(f"/networks/{number}/readings/links").text

    assert text.count("data:image/svg+xml") == 3
    address = text.split('<p class="link-text"><a href="https://sfn.example.org')[1].split('"')[0]
    assert "North ridge" in client.get(address).text
    assert client.get(f"/networks/{number}/readings/links?days=4000").status_code == 422
    assert send_form(client, f"/networks/{number}/readings/links", site="", days="4000").status_code == 422


def send_form(client: TestClient, address: str, **fields: str) -> Any:
    """Send a form with its token."""
    sent = {"csrf_token": token_in(client.get("/").text), **fields}
    return client.post(address, data=sent, follow_redirects=False)


def test_looking_makes_no_link(
    client: TestClient, post: Callable[..., Any], store: Store, number: int, issue: Callable[[int], int]
) -> None:
    """Page and paper show what was made, whatever the address asks for; making is a form, and makes each once."""
    issue(number)
    where = f"/networks/{number}/readings/links"
    for asked in ("", "?days=1", "?days=30", "?site=north", ".pdf", ".pdf?days=9"):
        assert client.get(where + asked).status_code == 200
    assert store.links.of(number) == ()
    assert "link made" not in [line.action for line in store.audit.all()]
    assert "Without a link: North ridge, South ridge, Gap." in client.get(where).text
    for days in ("14", "30"):
        assert post(where, site="", days=days).status_code == 303
    assert sorted(one.site_id for one in store.links.of(number)) == ["gap", "north", "south"]
    assert post(where, site="north", days="30").status_code == 303
    assert len(store.links.of(number)) == 4


def test_a_lock_sheet_that_differs_and_a_long_cable_are_questioned(
    client: TestClient, issued: Callable[[dict[str, Any]], int], example: dict[str, Any]
) -> None:
    """An inverted pilot, another deviation and pre-emphasis, a cable of kilometres; words are not, nor what agrees."""
    example["sites"][0]["lock"] = {
        "pilot_phase_deg": 0.0, "deviation_khz": 75.0, "deviation_match_pct": 0.3, "pre_emphasis_us": 50
    }  # fmt: skip
    address = link(issued(example))
    wrong = {"lock-pilot_phase": "178,5\u00b0", "lock-deviation": "7.5 kHz", "lock-pre_emphasis": "75"}
    asked = send(client, address, test_cable_us="50", remarks="x", **wrong).json()["questions"]
    said = {q["field"]: q["text"] for q in asked}
    assert (
        "the plan says 0 degrees, you typed 178.5: is the pilot or the composite inverted?" == said["lock-pilot_phase"]
    )
    assert "the plan says 75 kHz within 0.3 %, you typed 7.5" in said["lock-deviation"]
    assert "the plan says 50 us, you typed 75" in said["lock-pre_emphasis"]
    assert "about 10 km of cable: are nanoseconds meant, 0.05 us?" in said["test_cable_us"]
    right = {
        "lock-pilot_phase": "359",
        "lock-deviation": "75.1 kHz",
        "lock-pre_emphasis": "50",
        "lock-rds_source": "here",
    }
    assert send(client, address, test_cable_us="0.05", **right).json()["kept"] is True


def test_an_ended_link_offers_nothing_that_asks_for_the_password(
    client_with: Callable[..., TestClient], number: int
) -> None:
    """Ended or changed: the page says where a new link comes from, and every link on it opens."""
    client = client_with(password_hash=hash_password(PASSWORD))
    for address in (link(number)[:-3] + "abc", link(number) + "x"):
        page = client.get(address)
        assert page.status_code in (404, 410)
        assert "Ask the office for a new link" in page.text
        for linked in set(re.findall(r'(?:href|src|action)="([^"#]+)', page.text)):
            assert client.get(linked, follow_redirects=False).status_code == 200, linked


def state_of(client: TestClient, number: int, name: str) -> str:
    """The row of a site in the office's overview, as text."""
    rows = re.findall(r"<tr>(.*?)</tr>", client.get(f"/networks/{number}/readings").text, re.S)
    return re.sub(r"<[^>]+>", " ", next(row for row in rows if name in row))


def test_a_disagreement_outlives_a_revision_that_leaves_the_site_alone(
    client: TestClient, store: Store, number: int, example: dict[str, Any]
) -> None:
    """Only another plan for the site itself turns it back to planned."""
    asked = send(client, link(number), **{"set-1": "499"}).json()["questions"]
    told = {f"confirm-{n}": f"{q['field']}: {q['text']}" for n, q in enumerate(asked, 1)}
    assert send(client, link(number), **{"set-1": "499"}, **told).json()["kept"] is True
    assert "disagrees" in state_of(client, number, "North ridge")
    example["sites"][1]["remote"] = True
    store.save(number, example, base_revision=1, author="test", reason="another site")
    assert "disagrees" in state_of(client, number, "North ridge")
    example["common_delay"]["value_us"] += 100
    store.save(number, example, base_revision=2, author="test", reason="this site")
    assert "disagrees" not in state_of(client, number, "North ridge")


def test_restarts_sent_one_by_one_scatter_together_and_locks_show(
    client: TestClient, store: Store, issued: Callable[[dict[str, Any]], int], example: dict[str, Any]
) -> None:
    """Three sendings of one launch each give one scatter; a lock sheet that differs is seen at a glance."""
    example["sites"][0]["lock"] = {"pre_emphasis_us": 50}
    number = issued(example)
    planned = launch_us(store, number)
    for off in (0.0, 0.2, -0.1):
        assert send(client, link(number), **{"reading-1": f"{planned + off:.3f}"}).json()["kept"] is True
    page = client.get(f"/networks/{number}/readings").text
    assert "Scatter of 3 launches since a field was last turned: greatest minus least 0.300" in page.replace(
        "\u202f", " "
    )
    assert "measured" in state_of(client, number, "North ridge")
    wrong = {"lock-pre_emphasis": "75"}
    asked = send(client, link(number), **wrong).json()["questions"]
    told = {f"confirm-{n}": f"{q['field']}: {q['text']}" for n, q in enumerate(asked, 1)}
    assert send(client, link(number), **wrong, **told).json()["kept"] is True
    assert "lock sheet differs" in state_of(client, number, "North ridge")


@pytest.mark.parametrize(
    ("taken_at", "words"),
    [("2999-01-01 08:00", "is to come: is that local time?"), ("1999-01-01 08:00", "is over a year ago")],
)
def test_a_time_that_cannot_be_is_refused(client: TestClient, number: int, taken_at: str, words: str) -> None:
    """To come, or long past."""
    refused = send(client, link(number), remarks="x", taken_at=taken_at)
    assert refused.status_code == 422
    assert words in refused.json()["problems"][0]["what"]


def test_what_was_read_becomes_the_way_back(
    client: TestClient, post: Callable[..., Any], store: Store, number: int
) -> None:
    """As set at the site, taken over by the office: the next plan rolls back to it, and the state stays."""
    assert send(client, link(number), **{"set-1": "500"}).json()["kept"] is True
    assert store.read(number).document["sites"][0]["delay_fields"][0]["set"] != 500
    at = f"/networks/{number}/readings/set-now"
    assert post(at, base="1", author="Ann").status_code == 422
    assert post(at, base="1", author="Ann", **{"take-north": "yes"}).status_code == 303
    saved = store.read(number)
    assert saved.document["sites"][0]["delay_fields"][0]["set"] == 500
    assert saved.revision.reason == "set now, as read at North ridge"
    assert " set " in state_of(client, number, "North ridge")
    assert "North ridge keeps its settings" in client.get(f"/networks/{number}/change").text


def test_a_corrected_reading_is_kept_beside_the_one_whose_answer_was_lost(
    client: TestClient, store: Store, number: int
) -> None:
    """The same sending with other words is another reading; the very same is kept once."""
    for remarks in ("power 240 W", "power 240 W", "power 24 W"):
        assert send(client, link(number), sending="one", remarks=remarks).json()["kept"] is True
    kept = [entry.body["texts"]["remarks"] for entry in store.entries.of(number, kind="reading")]
    assert ["power 240 W", "power 24 W"] == kept


def test_an_older_reading_that_arrives_late_does_not_count_as_the_newest(client: TestClient, number: int) -> None:
    """Order is by when it was taken."""
    now = datetime.now(UTC)
    for hours, value in ((1, "500"), (3, "499")):
        when = f"{now - timedelta(hours=hours):%Y-%m-%d %H:%M}"
        asked = send(client, link(number), taken_at=when, **{"set-1": value})
        if asked.status_code == 422:
            told = {f"confirm-{n}": f"{q['field']}: {q['text']}" for n, q in enumerate(asked.json()["questions"], 1)}
            assert send(client, link(number), taken_at=when, **{"set-1": value}, **told).json()["kept"] is True
    assert "disagrees" not in state_of(client, number, "North ridge")


def test_a_link_is_listed_and_withdrawn(
    client: TestClient, post: Callable[..., Any], store: Store, number: int, issue: Callable[[int], int]
) -> None:
    """The same link each time the page is opened; withdrawn it opens nothing, and a new one is made when asked for."""
    issue(number)
    where = f"/networks/{number}/readings/links"

    def address() -> str:
        return client.get(f"/api/pages{where}", params={"site": "north"}).json()["lines"][0]["address"]

    assert address() == ""
    assert post(where, site="north").status_code == 303
    first = address()
    assert client.get(first).status_code == 200
    address()
    given = store.links.of(number)
    assert [("north", None)] == [(one.site_id, one.withdrawn_at) for one in given]
    store.links.add(number, site_id="north", revision=1, ends_at=given[0].ends_at, made_with="link page")
    assert post(f"{where}/{given[0].id}/withdraw").status_code == 303
    listed = client.get(f"/networks/{number}/readings").text
    assert "one other link of that site still opens its sheet" in listed
    other = next(one for one in store.links.of(number) if one.withdrawn_at is None and one.site_id == "north")
    assert post(f"{where}/{other.id}/withdraw").status_code == 303
    assert "no link of that site opens anything now" in client.get(f"/networks/{number}/readings").text
    shut = client.get(first)
    assert shut.status_code == 410
    assert "was withdrawn" in shut.text
    assert send(client, first, **{"reading-1": "1"}).status_code == 410
    assert address() == ""
    assert "Make a link" in client.get(where).text
    assert post(where, site="north").status_code == 303
    assert client.get(address()).status_code == 200
    assert client.get(first).status_code == 410
    assert post(f"{where}/{given[0].id}/withdraw").status_code == 404
    assert ["link made", "link made", "link withdrawn", "withdrawn link opened", "link made"] == [
        line.action for line in store.audit.all() if "link" in line.action and line.subject in ("north", given[0].id)
    ]
    assert client.get(link(number)).status_code == 200, "one from before there were lists"


def test_the_list_of_links_says_with_what_and_by_whom_each_was_made(
    client: TestClient, post: Callable[..., Any], store: Store, number: int
) -> None:
    """The page and the packet, by whoever sat there; by somebody who signed in, and who withdrew it."""
    where = f"/networks/{number}/readings/links"
    assert post(where, site="north").status_code == 303
    packet = when_made(client, post(f"/networks/{number}/packet.pdf", days="30", paper="a4"))
    assert packet.content.startswith(b"%PDF")
    before = ACTING.set(Acting("Ada", "planner", "session", ""))
    try:
        ends_at = datetime.now(UTC) + timedelta(days=2)
        old = store.links.add(number, site_id="gap", revision=1, ends_at=ends_at, made_with="link page")
        assert store.links.withdraw(number, old.id)
    finally:
        ACTING.reset(before)
    found = {(one.site_id, one.made_with) for one in store.links.of(number)}
    assert {("north", "link page"), ("south", "work packet"), ("gap", "link page")} <= found
    page = client.get(where).text
    for words in ("this page, nobody signed in", "the work packet, nobody signed in", "this page, Ada"):
        assert words in page
    assert re.search(r"withdrawn [^<]* by Ada", page)


def test_a_kept_link_ends_when_it_was_made_to(store: Store, number: int) -> None:
    """Signing it anew for the page does not make it last longer."""
    ends_at = datetime.now(UTC) + timedelta(hours=30)
    kept = store.links.add(number, site_id="north", revision=1, ends_at=ends_at, made_with="link page")
    opened = open_link(
        store.links,
        "test-key-of-the-tests-that-nobody-guesses",
        token_of("test-key-of-the-tests-that-nobody-guesses", kept),
    )
    assert abs(opened.ends_at - ends_at) < timedelta(seconds=2)
    over = datetime.now(UTC) - timedelta(seconds=1)
    late = store.links.add(number, site_id="north", revision=1, ends_at=over, made_with="link page")
    token = made_link(
        "test-key-of-the-tests-that-nobody-guesses",
        network_id=number,
        site_id="north",
        revision=1,
        days=1,
        link_id=late.id,
    )
    with pytest.raises(RefusedError) as refused:
        open_link(store.links, "test-key-of-the-tests-that-nobody-guesses", token)
    assert refused.value.status == 410


def test_what_is_set_under_a_link_that_grew_stale_is_seen_in_the_office(
    client: TestClient, store: Store, number: int, example: dict[str, Any]
) -> None:
    """The plan moved while somebody was at the site: what was set shows, as done without an issued sheet."""
    example["stages"][3]["release_delay_us"] = 100_000
    store.save(number, example, base_revision=1, author="test", reason="dry")
    page = client.get(link(number)).text
    assert "WITHHELD" in page
    assert "buffer underrun" in page
    assert "500\u202f\u00b5s" not in page

    assert send(client, link(number), **{"set-1": "480"}).json()["kept"] is True
    row = client.get(f"/networks/{number}/readings").text.partition('<th scope="row"><a href="#site-north"')[2]
    row = row.partition("</tr>")[0]
    assert "without an issued sheet" in row
    assert "480" in row


def test_what_was_read_at_a_site_without_a_sheet_is_kept_and_seen(
    client: TestClient, store: Store, number: int, example: dict[str, Any]
) -> None:
    """Its position became unreadable, or it left the plan: the office still has the reading."""
    example["sites"][2]["position"] = {"text": "nowhere"}
    store.save(number, example, base_revision=1, author="test", reason="lost")
    assert send(client, link(number, "gap"), **{"set-1": "14"}).json()["kept"] is True
    page = client.get(f"/networks/{number}/readings").text

    assert "This site has no sheet now" in page
    assert "repeater delay: 14" in page
    assert client.get(f"/networks/{number}/readings/links").status_code == 200


def test_an_order_to_read_tells_nothing_of_the_plan(
    client: TestClient, store: Store, number: int, example: dict[str, Any]
) -> None:
    """Whatever is read is taken without a question: one would give the withheld setting away."""
    example["sites"][0]["delay_fields"][0]["set"] = None
    store.save(number, example, base_revision=1, author="test", reason="nobody knows")
    page = client.get(link(number, revision=2)).text
    assert "Order to read: set nothing" in page
    answer = send(client, link(number, revision=2), **{"set-1": "5"}).json()

    assert answer["kept"] is True
    assert "against the plan" not in client.get(link(number, revision=2)).text


def test_what_was_reported_is_the_next_sheets_way_back(
    client: TestClient, store: Store, example: dict[str, Any], number: int
) -> None:
    """106 ms and 382.7 us reported, then another revision that still says 0: the next sheet goes back to what stands.

    The telephone is three hours slow, and an older reading arrives later: neither makes an old value the present one.
    """
    clock = datetime.now(UTC) - timedelta(hours=3)
    told = {"taken_clock": clock.isoformat(), "phone_clock": clock.isoformat(), "taken_at": f"{clock:%Y-%m-%d %H:%M}"}
    assert send(client, link(number, "south"), **told, **{"set-1": "106", "set-2": "382.7"}).json()["kept"]
    old = {"taken_at": f"{datetime.now(UTC) - timedelta(hours=2):%Y-%m-%d %H:%M}", "set-1": "0", "set-2": "0"}
    asked = send(client, link(number, "south"), **old).json()["questions"]
    ticks = {f"confirm-{n}": f"{q['field']}: {q['text']}" for n, q in enumerate(asked, 1)}
    assert send(client, link(number, "south"), **old, **ticks).json()["kept"]
    document = store.read(number).document
    document["sites"][1]["offset_us"] = -20.0
    store.save(number, document, base_revision=1, author="test", reason="another offset")

    row = next(r for r in client.get(f"/api/networks/{number}/delays").json()["sites"] if r["id"] == "south")
    assert row["now_us"] == pytest.approx(106_382.7)
    fields = client.get(f"/api/pages/networks/{number}/sheets/south").json()["sheet"]["routes"][0]["fields"]
    assert [106, pytest.approx(382.7)] == [field["back"]["value"] for field in fields]
    assert "the plan says that" in client.get(f"/networks/{number}/change").text


def test_a_site_with_many_sendings_shows_them_in_parts(client: TestClient, store: Store, number: int) -> None:
    """Each stands in one part, the newest first; scripts get all of them; the state is that of all."""
    times = [datetime(2026, 6, 1, tzinfo=UTC) + timedelta(hours=n) for n in range(45)]
    rows = [
        (
            "north",
            {
                "route": "main", "as_set": {}, "readings_us": [], "plane": "", "test_cable_us": 0.0,
                "demodulator_us": 0.0, "texts": {"remarks": f"visit {n};"}, "confirmed": [],
                "held_at": at.isoformat(), "taken_at": f"{at:%Y-%m-%d %H:%M}",
            },
        )
        for n, at in enumerate(times)
    ]  # fmt: skip
    store.entries.add_many(number, revision=1, kind="reading", made_by="T", rows=rows)
    address = f"/networks/{number}/readings"
    seen: list[str] = []
    for part in ("1", "2", "3"):
        page = client.get(address, params={"site": "north", "part": part}).text
        seen += re.findall(r"visit (\d+);", page)
    assert seen == [str(n) for n in reversed(range(45))]
    first = client.get(address).text
    assert re.findall(r"visit (\d+);", first) == seen[:20]
    assert "1 to 20 of 45" in re.sub(r"</?strong>", "", first)
    assert re.findall(r"visit (\d+);", client.get(f"/api/pages{address}").text) == seen
    assert client.get(address, params={"site": "north", "part": "99"}).status_code == 200
