"""Losses: given ones, and records that are uploaded."""

import json
import re
from html import unescape

import numpy as np
import pytest

from sfn.cli import main
from sfn.stream.advise import spoken
from tests.sfn.stream.test_streams import stream, written


@pytest.fixture
def number(store, example):
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def log(lost_every: int = 1000, length: int = 5, delay_s: float = 0.005) -> bytes:
    """A CSV log of 20 000 packets, some lost in bursts."""
    position = np.array([p for p in range(20_000) if p % lost_every >= length])
    at_s = 36_000 + 0.004 * position + delay_s + (position * 7 % 13) * 1e-5
    rows = [f"{p},{t:.6f}" for p, t in zip(position, at_s, strict=True)]
    return ("sequence,arrival_s\n" + "\n".join(rows) + "\n").encode()


def uploaded(client, post, number, files, **fields):
    """The page of an upload, once it is read."""
    sent = post(f"/networks/{number}/losses/upload", files=files, **fields)
    assert 303 == sent.status_code
    job = client.app.state.jobs.find(sent.headers["location"].rsplit("/", 1)[-1])
    assert job.ended.wait(60)
    return job, client.get(job.view().result_url or sent.headers["location"])


def test_given_losses(client, number):
    """1e-3 in bursts of 4 with 1 ms packets: columns of ten leave 1.12e-04, rows nearly everything."""
    fields = {"loss_pct": "0.1", "burst_packets": "4", "packet_ms": "1"}
    html = client.get(f"/networks/{number}/losses", params=fields).text.replace("\u202f", " ")

    assert "1.12e-04" in html
    assert "9.19e-04" in html
    assert "100 000.0 µs" in html


def test_problems_stand_at_their_fields(client, number):
    """A mean burst below one and a packet time of nothing are marked where they were typed."""
    first = client.get(f"/networks/{number}/losses", params={"burst_packets": "0.2"})
    second = client.get(f"/networks/{number}/losses", params={"packet_ms": "0"})

    assert (422, 422) == (first.status_code, second.status_code)
    assert re.search(r'id="burst_packets-problem1">mean_burst_packets must be from 1', first.text)
    assert re.search(r'id="packet_ms-problem1">cannot be 0; above 0 to 1\u202f000 ms', second.text)


def test_two_records_together(client, post, number):
    """Losses, bursts, hour, and paths that fail together; the model and the plan are a click away."""
    files = {"first": ("a.csv", log()), "second": ("b.csv", log(length=6, delay_s=0.012))}
    _, page = uploaded(client, post, number, files, remove_drift="no", record_packet_ms="4")
    html = page.text.replace("\u202f", " ")

    assert 200 == page.status_code
    assert "Measured: a.csv, b.csv" in html
    assert "<strong>95</strong> of 19995 packets lost" in html
    assert "Chance does not explain that" in html
    assert re.search(r"least delay longer by</th><td>\+7\.0\d\d ms, if one clock stamped both", html)
    assert 3 == html.count('class="chart"')
    model = re.search(r'href="([^"]+)">What protections leave', html)
    assert model
    assert "burst_packets=5" in model[1]
    assert 200 == client.get(model[1].replace("&amp;", "&")).status_code
    plan = re.search(r'href="([^"]+)">Plan a link with this', html)
    assert plan
    planned = client.get(plan[1].replace("&amp;", "&")).text.replace("\u202f", " ")
    longer = re.search(r"a plan with both paths adds ([0-9.]+) ms to the first path's delay variation", unescape(html))
    assert longer
    assert 7.0 == pytest.approx(float(longer[1]), abs=0.05)
    assert re.search(r'name="differential_ms" value="7(\.0\d*)?"', planned)
    assert "second path is longer" in planned
    assert 'name="second_path" value="yes" checked' in planned


def two_sources() -> bytes:
    """A capture of 900 packets of source 0xdef and 600 of 0xabcd beside it, on one port; the second loses 60."""
    first = stream(np.arange(900), source=0xDEF)
    kept = np.concatenate([np.arange(300), np.arange(360, 660)])
    return written(sorted(first + stream(kept, source=0xABCD, number=30_000, stamp=5, seed=3)))


@pytest.mark.parametrize(
    ("typed", "lost", "why"),
    [
        ("0xabcd", "<strong>60</strong> of 660", "it is the source asked for"),
        ("", "<strong>0</strong> of 900", "it has most packets of the whole file"),
    ],
)
def test_the_source_is_chosen_as_with_the_command(client, post, number, typed, lost, why):
    """Named it is followed, though another has more packets; the form says what is followed where none is named."""
    form = client.get(f"/networks/{number}/losses").text
    _, page = uploaded(client, post, number, {"first": ("a.pcap", two_sources())}, source=typed, record_packet_ms="4")

    assert 'name="source" value="" placeholder="most packets of the whole file"' in form
    assert "that with most packets of the whole file is followed, unless port or source are named" in form
    assert lost in page.text
    assert why in page.text


def test_a_repeat_that_would_have_lost_nothing_promises_nothing(client, post, number):
    """Bursts of 5 every 1000: a copy 1 or 2 later is lost with 4 and 3 of them, one 5 later with none in this record."""
    _, page = uploaded(client, post, number, {"first": ("a.csv", log())}, packet_ms="4")
    rows = dict(re.findall(r'<tr><td class="number">(\d+)</td><td class="number">([^<]*)</td></tr>', page.text))

    assert 19 * 4 / 19_994 == pytest.approx(float(rows["1"]), rel=0.005)  # the first burst is not in the record
    assert 19 * 3 / 19_993 == pytest.approx(float(rows["2"]), rel=0.005)
    assert "none in this record" == rows["5"]


def test_a_source_that_is_none_is_refused_at_its_field(client, post, number):
    """def: it says where the 0x is missing."""
    sent = post(f"/networks/{number}/losses/upload", files={"first": ("a.pcap", two_sources())}, source="def")

    assert 422 == sent.status_code
    assert "is no number of an RTP source, with 0x before it: 0xdef" in sent.text


def test_a_clean_record_is_an_upper_limit(client, post, number):
    """Nothing lost: the page says up to how much that may be."""
    _, page = uploaded(client, post, number, {"first": ("c.csv", log(length=0))})

    assert "Nothing was lost. That leaves up to 2.6e-04" in page.text


def test_what_cannot_be_read_says_where(client, post, number):
    """The line of a broken log stands on the job's page; no second file is needed, a first one is."""
    job, page = uploaded(client, post, number, {"first": ("bad.csv", b"sequence,arrival_s\n1,2\nx,3\n")})

    assert "failed" == job.state
    assert "bad.csv: line 3" in page.text
    assert "reads &#39;x,3&#39;" in page.text
    assert 422 == post(f"/networks/{number}/losses/upload", files={"first": ("", b"")}).status_code
    assert (
        422
        == post(
            f"/networks/{number}/losses/upload", files={"first": ("a.csv", log())}, late_probability="2"
        ).status_code
    )


def test_a_forgotten_record_is_not_there(client, number):
    """An address without a job answers 404."""
    assert 404 == client.get(f"/networks/{number}/losses/nothing").status_code


def rows_of(html):
    """Words and residual loss of the second path alone, out of the table of protections."""
    text = re.sub(r"<[^>]+>", "|", html.replace("\u202f", " "))
    return re.search(r"\|(?:no protection, )?second path\|+([^|]+)[|\s]+(?:&lt; )?([0-9.e+-]+)\|", text)


@pytest.mark.parametrize(("share", "words"), [("", "assumed independent: nothing measured says so"),
                                              ("0.2", "share of common losses as given")])  # fmt: skip
def test_one_record_and_a_second_path_as_the_command_has_it(client, post, number, tmp_path, capsys, share, words):
    """What is assumed stands beside the figure, and the figure is that of `loss --capture --second-path`."""
    _, page = uploaded(
        client, post, number, {"first": ("a.csv", log(), "text/csv")}, record_joint_pct=share, remove_drift="yes"
    )
    path = tmp_path / "a.csv"
    path.write_bytes(log())
    more = ["--joint-loss-pct", share] if share else []
    assert 0 == main(["loss", "--capture", str(path), "--second-path", *more, "--json"])
    command = json.loads(capsys.readouterr().out)
    found = rows_of(page.text)

    assert found is not None
    assert words == found.group(1) == command["second_path_taken_as"]
    assert float(found.group(2)) == pytest.approx(command["residual_loss_ratio"], rel=0.01)


def test_a_share_beside_two_records_is_refused(client, post, number):
    """What both lose is measured then: as the command refuses it."""
    files = {"first": ("a.csv", log(), "text/csv"), "second": ("b.csv", log(770, 3), "text/csv")}
    _, page = uploaded(client, post, number, files, record_joint_pct="0.2")
    assert "must not be given together with a second record" in page.text


def test_page_and_command_say_the_same(client, post, number, tmp_path, capsys):
    """Two records: every figure of the table, and one figure of what a plan adds for the second path."""
    records = {"first": ("a.csv", log(700, 3)), "second": ("b.csv", log(length=6, delay_s=0.012))}
    _, shown = uploaded(client, post, number, records, record_packet_ms="4")
    for name, content in records.values():
        (tmp_path / name).write_bytes(content)
    line = f"--capture {tmp_path / 'a.csv'} --second-capture {tmp_path / 'b.csv'} --packet-ms 4 --compare"
    assert 0 == main(["loss", *line.split(), "--json"])
    rows = json.loads(capsys.readouterr().out)["comparison"]
    assert 0 == main(["loss", *line.split()])
    said = capsys.readouterr().out

    cells = re.findall(r'data-label="Packets left lost" class="number">(?:&lt; )?([0-9.e+-]+)', shown.text)
    every = re.findall(r'data-label="An audible error every" class="number">([^<]*)<', shown.text)
    assert [f"{row['residual_loss_ratio']:.2e}" for row in rows] == cells
    assert any(row["residual_kind"] == "estimate" for row in rows)
    assert [spoken(row["error_every_s"]) for row in rows] == [one.removeprefix("more than ") for one in every]
    sentence = re.search(r"a plan with both paths adds ([0-9.]+) ms [^(]*clock stamped both", said)
    assert sentence
    assert sentence[0] in unescape(shown.text)
    assert {sentence[1]} == set(re.findall(r"and in a plan ([0-9.]+) ms more", said))
