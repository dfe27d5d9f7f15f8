"""Measurements as records of the network: kept, listed, excluded by name, adjusted together, never corrected twice."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from sfn.timing import delay_table
from tests.sfn.study.test_taken_up import TREE, measured, settings_of, truth
from webapp.prove.measured_rows import excluded_now, mark_of
from webapp.store.documents import network_of
from webapp.store.exchange import exported, imported
from webapp.store.store import Store
from webapp.store.timeline import entry_name

HEAD = "when,point,lat,lon,site,reference_site,delay_difference_us,uncertainty_us,reference_plane,by,instrument\n"


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="first").network_id


def line(when: str, *, late_us: float = 6.2, set_us: dict[str, float] | None = None, n: int = 0) -> str:
    """South against north as an instrument shows it, of a true exciter that is slower than planned."""
    m = measured(truth(late_us), set_us or settings_of(TREE), when, n=n + 1)[n]
    return (
        f"{when},{m.point},{m.lat_deg},{m.lon_deg},south,north,{m.delay_difference_us:.4f},0.05,antenna,ab,analyser 3\n"
    )


def exciter(store: Store, number: int) -> float:
    """Latency of south's exciter in the newest revision. [us]"""
    stages = store.read(number).document["stages"]
    found: float = next(one for one in stages if one["id"] == "south-exciter")["latency_us"]
    return found


def rows_of(client: TestClient, number: int) -> list[dict[str, Any]]:
    """The kept measurements as the page's record gives them, the newest first."""
    found: list[dict[str, Any]] = client.get(f"/api/pages/networks/{number}/measurements").json()["rows"]
    return found


def test_rows_are_kept_once_and_stand_on_the_timeline(
    client: TestClient, post: Callable[..., Any], number: int
) -> None:
    """Each with its instrument, plane, who and what was set; the same again adds nothing."""
    address = f"/networks/{number}/measurements/rows"
    table = HEAD + line("2026-10-01T10:00Z") + line("2026-10-01T10:10Z", n=1)
    assert post(address, csv=table, source="night.csv", do="keep", author="ab").status_code == 303
    assert post(address, csv=table, do="keep", author="ab").status_code == 303
    html = client.get(f"/networks/{number}/measurements").text
    assert "2 stood there already" in html
    assert html.count("analyser 3") == 2
    assert "night.csv" in html
    rows = rows_of(client, number)
    assert len(rows) == 2
    assert rows[0]["in_force"]["settings_us"]["south"] == pytest.approx(settings_of(TREE)["south"])
    assert rows[0]["in_force"]["source"] == {"south": "kept", "north": "kept"}
    entries = client.get(f"/api/networks/{number}/timeline?site=north").json()["entries"]
    found = [one for one in entries if one["kind"] == "difference"]
    assert [(one["held_at"], one["excluded_reason"]) for one in found] == [
        ("2026-10-01T10:00:00Z", None), ("2026-10-01T10:10:00Z", None),
    ]  # fmt: skip
    assert "Measured on air" in client.get(f"/networks/{number}/timeline").text


def test_an_appended_line_never_repeats_a_correction(
    client: TestClient, post: Callable[..., Any], store: Store, number: int
) -> None:
    """6.2 us taken up, the device set anew and reported, one line of the first day and one of today appended."""
    before = exciter(store, number)
    keep, chosen = f"/networks/{number}/measurements/keep", {"hold-north": "yes", "stage-south": "south-exciter"}
    log = HEAD + line("2026-10-01T10:00Z") + line("2026-10-01T10:10Z", n=1)
    assert post(keep, csv=log, base="1", author="ab", **chosen).status_code == 303
    after = exciter(store, number)
    assert before + 6.2 == pytest.approx(after, abs=1e-3)
    assert len(rows_of(client, number)) == 2

    set_us = {}
    for site in ("north", "south"):
        row = delay_table(network_of(store.read(number).document, "")).row(site)
        set_us[site] = row.set_us
        fields = {f"set-{n}": str(one.value) for n, one in enumerate(row.fields, 1)}
        told = post(f"/networks/{number}/timeline", kind="told", site=site, author="C. Room", **fields)
        assert told.status_code == 303, told.text
    now = f"{datetime.now(UTC) + timedelta(seconds=1):%Y-%m-%dT%H:%M:%SZ}"  # after what was just told
    rows = HEAD + line("2026-10-01T10:20Z", n=2) + line(now, set_us=set_us)
    answer = post(f"/networks/{number}/measurements", csv=rows, **{"hold-north": "yes"})
    assert answer.status_code == 200
    assert "2 more that are kept are adjusted together with these" in unescape(answer.text)
    assert post(keep, csv=rows, base="2", author="ab", **chosen).status_code == 303
    assert after == pytest.approx(exciter(store, number), abs=2e-3)
    assert len(rows_of(client, number)) == 4
    again = post(keep, kept="yes", base="3", author="ab", **chosen)
    assert again.status_code == 422
    assert "took these measurements up already" in again.text


def test_rows_are_excluded_by_name_with_a_reason_and_restored(
    client: TestClient, post: Callable[..., Any], store: Store, number: int
) -> None:
    """What is excluded stands there with who and why, and pulls at nothing until it is restored."""
    address = f"/networks/{number}/measurements/rows"
    table = HEAD + line("2026-10-01T10:00Z") + line("2026-10-01T10:10Z", late_us=46.2, n=1)
    assert post(address, csv=table, do="keep", author="ab").status_code == 303
    slip = rows_of(client, number)[0]["name"]
    refused = post(address, do="exclude", row=slip, author="cd")
    assert refused.status_code == 422
    assert "nothing says why" in refused.text
    assert post(address, do="exclude", row="entry-999", reason="x", author="cd").status_code == 422
    assert post(address, do="exclude", row=slip, reason="cable was loose", author="cd").status_code == 303
    html = client.get(f"/networks/{number}/measurements").text
    assert "cable was loose" in html
    entries = client.get(f"/api/networks/{number}/timeline").json()["entries"]
    assert next(one for one in entries if one["id"] == slip)["excluded_reason"] == "cable was loose"

    keep = f"/networks/{number}/measurements/keep"
    chosen = {"kept": "yes", "hold-north": "yes", "stage-south": "south-exciter", "author": "ab"}
    before = exciter(store, number)
    assert post(keep, base="1", **chosen).status_code == 303
    assert before + 6.2 == pytest.approx(exciter(store, number), abs=1e-3)
    assert post(address, do="restore", row=slip, reason="it was tight", author="cd").status_code == 303
    assert post(keep, base="2", **chosen).status_code == 303
    assert before + 26.2 == pytest.approx(exciter(store, number), abs=1e-3)
    assert post(address, do="exclude", row=slip, reason="loose after all", author="cd").status_code == 303
    assert post(keep, base="3", **chosen).status_code == 303
    assert before + 6.2 == pytest.approx(exciter(store, number), abs=1e-3)


def test_what_is_there_no_more_is_not_adjusted(client: TestClient, post: Callable[..., Any], number: int) -> None:
    """A replaced device, and a time that does not tell what was set: kept, listed with why, not used."""
    address = f"/networks/{number}/measurements/rows"
    assert "no measurement is kept" in post(f"/networks/{number}/measurements", kept="yes").text
    assert post(address, csv=HEAD + line("2026-10-01T10:00Z"), do="keep", author="ab").status_code == 303
    replaced = {"kind": "replaced", "site": "south", "words": "exciter 2 for 1", "taken_at": "2026-10-02 08:00"}
    assert post(f"/networks/{number}/timeline", author="C. Room", **replaced).status_code == 303
    (row,) = rows_of(client, number)
    assert "the device of South ridge was replaced on 2026-10-02 08:00" in row["unusable"]
    nothing = post(f"/networks/{number}/measurements", kept="yes")
    assert nothing.status_code == 422
    assert "was replaced on" in unescape(nothing.text)
    assert post(address, csv=HEAD + line("2026-10-02"), do="keep", author="ab").status_code == 303
    assert "changed within the time" in rows_of(client, number)[0]["unusable"]


def test_what_is_excluded_stays_excluded_in_another_store(
    client: TestClient, post: Callable[..., Any], store: Store, number: int, tmp_path: Path
) -> None:
    """Entries get other names there: a measurement is known by its own figures."""
    address = f"/networks/{number}/measurements/rows"
    table = HEAD + line("2026-10-01T10:00Z") + line("2026-10-01T10:10Z", late_us=46.2, n=1)
    assert post(address, csv=table, do="keep", author="ab").status_code == 303
    slip = rows_of(client, number)[0]["name"]
    assert post(address, do="exclude", row=slip, reason="cable was loose", author="cd").status_code == 303
    other = Store(f"sqlite:///{tmp_path / 'other.sqlite'}")
    first = other.create(TREE, author="x", reason="x").network_id
    other.entries.add(first, revision=1, site_id="gap", kind="muted", made_by="x", body={})
    assert imported(other, list(exported(store))) == 1
    kept = other.entries.of(first + 1, kind="difference")
    out = excluded_now(other, first + 1)
    assert [out.get(mark_of(one)) for one in kept] == [None, ("cable was loose", "cd")]
    assert slip == entry_name(kept[0])  # by its name the good one would be out there
    other.close()
