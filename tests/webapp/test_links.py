"""The link plan: the engine's figures, problems at their fields, advice, and a plan put into a chain."""

import json
import re
from urllib.parse import parse_qs, urlsplit

import pytest

from sfn.stream.plan_text import record_of
from sfn.stream.planned import plan_of
from webapp.forms.fields import Sheet
from webapp.forms.typed import applied
from webapp.store.documents import network_of

PLAN = {
    "payload": "digital composite", "bits": "24", "packet_ms": "1", "parity": "both", "columns": "5", "rows": "10",
    "link_mbps": "10", "network_ms": "21", "variation_ms": "20", "receiver_ms": "4", "time_stamped": "yes",
}  # fmt: skip


@pytest.fixture
def number(store, example):
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def test_the_page_shows_the_plan(client, number):
    """6.4448 Mbit/s over IP, 50 ms of parity, the least release delay; all as the engine has them."""
    html = client.get(f"/networks/{number}/links", params=PLAN).text.replace("\u202f", " ")

    for text in ("6.4448", "digital composite, 192 kHz x 1 x 24 bit", "100 536.0 µs", "rows and columns 5 x 10"):
        assert text in html
    assert 'class="chart"' in html


def test_nothing_asked_is_a_form_alone(client, number):
    """The first visit shows the form with its defaults and no figures."""
    answer = client.get(f"/networks/{number}/links")

    assert 200 == answer.status_code
    assert 'id="result"' not in answer.text
    assert '<option value="digital composite" selected>' in answer.text


@pytest.mark.parametrize(
    ("changes", "field", "text"),
    [
        ({"packet_ms": "1/7"}, "packet_ms", "must hold a whole number of samples"),
        ({"packet_ms": "soon"}, "packet_ms", "a number, such as 2.5 or 1/3"),
        ({"bits": "99"}, "bits", "bits must be from 16 to 24 bits, got 99"),
        ({"columns": "0"}, "columns", "columns (L) must be from 1"),
        ({"hops": "1.5"}, "hops", "a whole number"),
    ],
)
def test_a_problem_stands_at_its_field(changes, field, text, client, number):
    """The field is marked, keeps what was typed, and says what would be right."""
    answer = client.get(f"/networks/{number}/links", params=PLAN | changes)

    assert 422 == answer.status_code
    problem = re.search(rf'id="{field}-problem1">([^<]*)<', answer.text)
    assert problem
    assert text in problem[1]
    assert f'value="{changes[field]}"' in answer.text


def test_advice_runs_as_a_job_and_links_back(client, post, number):
    """The job ends at a ranked table; each choice leads to the plan with that protection in it."""
    asked = post(
        f"/networks/{number}/links/advice", typed="payload=compressed+audio&packet_ms=", loss_pct="0.01",
        burst_packets="2", greatest_latency_ms="300",
    )  # fmt: skip
    assert 303 == asked.status_code
    app = client.app
    job = app.state.jobs.find(asked.headers["location"].rsplit("/", 1)[-1])
    assert job.ended.wait(60)
    page = client.get(job.view().result_url)
    choices, _, taken_as = job.result

    assert 200 == page.status_code
    assert "at most 300" in page.text
    link = re.search(r'<th scope="row"><a href="([^"]+)"', page.text)
    assert link
    fields = {k: v[0] for k, v in parse_qs(urlsplit(link[1].replace("&amp;", "&")).query).items()}
    assert "" == taken_as
    assert choices[0].protection == plan_of(record_of(fields)[0]).protection


def test_advice_that_cannot_be_worked_out_is_refused(post, number):
    """A loss of 200 % starts no job."""
    assert 422 == post(f"/networks/{number}/links/advice", typed="", loss_pct="200").status_code


def test_a_plan_goes_into_a_chain(client, post, store, number):
    """The section of the north becomes the stream's, its old stages go, and the stale settings are named."""
    sent = post(
        f"/networks/{number}/links/keep", typed="packet_ms=1&network_ms=21&parity=both", base="1", author="Ann",
        place="north|main|north-release", release_ms="150",
    )  # fmt: skip
    assert 303 == sent.status_code
    document = store.read(number).document
    stages = {s["id"]: s for s in document["stages"]}
    html = client.get(sent.headers["location"]).text.replace("\u202f", " ")

    assert 150_000 == stages["north-stream"]["release_delay_us"]
    assert not {"north-release", "north-wan", "north-fec"} & set(stages)
    assert "computed from stream plan, revision 2" in stages["north-stream"]["note"]
    assert "north-stream" in document["sites"][0]["chains"][0]["stages"]
    assert network_of(document, "")
    assert "Settings that are out of date now: South ridge (main) +30 000.0 µs, Gap (main)" not in html
    assert "South ridge (main) +30 000.0 µs" in html
    assert f"/networks/{number}/links?" in client.get(f"/networks/{number}/links").text


def test_a_kept_plan_survives_the_chain_page(client, post, store, number):
    """The chain page shows the record in one line; a save that leaves the line alone leaves the record as it is."""
    place = {"base": "1", "author": "Ann", "place": "north|main|north-release"}
    post(
        f"/networks/{number}/links/keep",
        typed="packet_ms=1%2F3&payload=left+and+right%2C+linear&network_ms=21",
        **place,
    )
    before = store.read(number).document
    at = next(n for n, stage in enumerate(before["stages"]) if stage["id"] == "north-stream")
    line = "".join(f.value for f in Sheet(before).group(f"stages-{at}").fields if f.name.endswith("stream_plan"))
    assert line.startswith("payload=left+and+right%2C+linear&bits=24&")
    again = applied(before, {f"stages-{at}-stream_plan": line, f"stages-{at}-note": "another"})
    gone = applied(before, {f"stages-{at}-stream_plan": ""})

    assert "1/3" == again["stages"][at]["stream_plan"]["packet_ms"]
    assert before["stages"][at] | {"note": "another"} == again["stages"][at]
    assert "stream_plan" not in gone["stages"][at]


def test_an_older_document_keeps_its_text(client, post, store, example):
    """A stage whose plan is a text opens as one, shows no problem with it, and is not rewritten by a save elsewhere."""
    text = "network_ms=21&packet_ms=1"
    document = json.loads(json.dumps(example))
    stage = next(stage for stage in document["stages"] if stage["id"] == "north-release")
    stage["stream_plan"] = text
    number = store.create(document, author="test", reason="test").network_id
    before = store.read(number).document
    again = applied(before, {"stages-0-note": "another"})

    assert f"/networks/{number}/links?network_ms=21&amp;packet_ms=1" in client.get(f"/networks/{number}/links").text
    assert text == next(s for s in again["stages"] if s["id"] == "north-release")["stream_plan"]


def test_a_plan_again_takes_its_own_place(post, store, number):
    """A changed plan replaces the one before, inside and all; nothing is left behind."""
    place = {"base": "1", "author": "Ann", "place": "north|main|north-release"}
    post(f"/networks/{number}/links/keep", typed="packet_ms=1&network_ms=21&parity=both", **place)
    again = {"base": "2", "author": "Ann", "place": "north|main|north-stream"}
    post(f"/networks/{number}/links/keep", typed="packet_ms=1&network_ms=21", **again)
    stages = {s["id"]: s for s in store.read(number).document["stages"]}

    kept = stages["north-stream"]["stream_plan"]
    assert (21, 1, "digital composite", "none") == tuple(
        kept[k] for k in ("network_ms", "packet_ms", "payload", "parity")
    )
    assert "loss_pct" not in kept  # nothing was typed of losses
    assert ["north-stream-1", "north-stream-2"] == stages["north-stream"]["inside"]
    assert "north-stream-3" not in stages


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"place": ""}, "no stage was chosen"),
        ({"place": "north|main|south-link"}, "is not in the main chain"),
        ({"place": "x|main|y"}, "there is no main chain at"),
        ({"author": ""}, "a save needs a name"),
        ({"release_ms": "1"}, "release_us must be at least"),
        ({"release_ms": "x"}, "a number of milliseconds"),
    ],
)
def test_what_cannot_be_kept_is_refused_in_words(changes, text, post, store, number):
    """Nothing is saved, and the page says why."""
    fields = {"typed": "network_ms=21", "base": "1", "author": "Ann", "place": "north|main|north-release"} | changes
    answer = post(f"/networks/{number}/links/keep", **fields)

    assert 422 == answer.status_code
    assert text in answer.text
    assert 1 == store.read(number).revision.number
