"""Readings from telephones with clocks off and in other zones, and the deadline of a change: recomputed in whole seconds.

Nothing here uses the program's own arithmetic of times: instants are whole seconds since 1970, days are counted by the
civil calendar (Howard Hinnant, "chrono-compatible low-level date algorithms", days_from_civil, from memory).
"""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from hypothesis import given, settings, strategies as st

from sfn.check.review import review
from sfn.plan import read
from sfn.study.live_change import Step, StepField, live_change
from sfn.study.sheet import sheet
from sfn.timeline.held import instant
from sfn.timeline.present import FieldReport, Report, reported_of
from webapp.standing.readings import typed_reading
from webapp.store.entries import Entry
from webapp.store.timeline import held_of

EXAMPLE = Path(__file__).parents[1] / "sfn" / "example-network.json"
NETWORK = read(EXAMPLE.read_text(encoding="utf-8"))
MADE = sheet(review(NETWORK, problems=()), "north")
# 2026-11-29 00:00 UTC, and a year to either side.
NOON_S, SPAN_S = 1_795_910_400, 31_000_000
# Zones from -12:00 to +14:00, some of a quarter of an hour.
ZONES_MIN = st.integers(-48, 56).map(lambda quarters: 15 * quarters)
CLOCKS_S = st.one_of(st.integers(-90, 90), st.integers(-40_000, 40_000), st.integers(-4_000_000, 4_000_000))


def civil(seconds: int) -> tuple[int, int, int, int, int, int]:
    """Year to second of an instant, in UTC."""
    days, rest = divmod(seconds, 86_400)
    z = days + 719_468
    era = z // 146_097
    doe = z - era * 146_097
    yoe = (doe - doe // 1460 + doe // 36_524 - doe // 146_096) // 365
    doy = doe - (365 * yoe + yoe // 4 - yoe // 100)
    mp = (5 * doy + 2) // 153
    month = mp + 3 if mp < 10 else mp - 9
    return (
        yoe + era * 400 + (month <= 2),
        month,
        doy - (153 * mp + 2) // 5 + 1,
        rest // 3600,
        rest // 60 % 60,
        rest % 60,
    )


def said(seconds: int, zone_min: int) -> str:
    """An instant as a clock in a zone writes it."""
    y, mo, d, h, mi, s = civil(seconds + 60 * zone_min)
    sign, off = ("-" if zone_min < 0 else "+"), abs(zone_min)
    return f"{y:04d}-{mo:02d}-{d:02d}T{h:02d}:{mi:02d}:{s:02d}{sign}{off // 60:02d}:{off % 60:02d}"


def at(seconds: int) -> datetime:
    """An instant as the program has it."""
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)


def seconds_of(moment: datetime) -> int:
    """And back."""
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(seconds=1)


def entry(true_s: int, *, slow_s: int, zone_min: int, waits_s: int, way_s: int, value: str) -> Entry:
    """What the office keeps of a reading: pressed at a true instant, sent when there was a net, off a clock that is slow."""
    sent_s = true_s + waits_s
    form: dict[str, Any] = {
        "set-1": value, "initials": "AE", "taken_clock": said(true_s - slow_s, zone_min),
        "phone_clock": said(sent_s - slow_s, zone_min),
    }  # fmt: skip
    arrived = at(sent_s + way_s)
    typed = typed_reading(form, MADE, now=arrived)
    body = json.loads(json.dumps(typed.body))
    return Entry(1, 1, 1, "north", "reading", arrived, "AE", body)


PHONE = st.fixed_dictionaries(
    {"slow_s": CLOCKS_S, "zone_min": ZONES_MIN, "waits_s": st.integers(0, 400_000), "way_s": st.integers(0, 4)}
)


@settings(max_examples=40)
@given(true_s=st.integers(NOON_S - SPAN_S, NOON_S + SPAN_S), phone=PHONE)
def test_a_reading_held_when_it_was_pressed_whatever_the_telephone_shows(true_s: int, phone: dict[str, int]) -> None:
    """Off by no more than the way took, never after its arrival, and inside its interval."""
    kept = entry(true_s, **phone, value="100")
    found = held_of(kept)
    assert 0 <= seconds_of(found.at) - true_s <= phone["way_s"]
    assert (
        seconds_of(found.earliest) <= true_s <= seconds_of(found.latest) <= true_s + phone["waits_s"] + phone["way_s"]
    )


@settings(max_examples=20)
@given(
    begins_s=st.integers(NOON_S - SPAN_S, NOON_S + SPAN_S),
    gaps_s=st.lists(st.integers(10, 90_000), min_size=1, max_size=5),
    phones=st.lists(PHONE, min_size=6, max_size=6),
    order=st.permutations(range(6)),
)
def test_the_present_value_is_the_one_pressed_last(
    begins_s: int, gaps_s: list[int], phones: list[dict[str, int]], order: list[int]
) -> None:
    """Six telephones of as many zones, sending in any order and days late: what was pressed last stands."""
    times = [begins_s + sum(gaps_s[:n]) for n in range(len(gaps_s) + 1)]
    entries = [
        entry(when, **phone, value=str(100 + n)) for n, (when, phone) in enumerate(zip(times, phones, strict=False))
    ]
    reports = [
        Report("north", "main", {"codec delay": FieldReport(float(one.body["as_set"]["codec delay"]), "us")},
               held_of(one), one.made_at, "AE", "read")
        for one in (entries[k] for k in order if k < len(entries))
    ]  # fmt: skip
    now = reported_of(NETWORK, reports).now(("north", "", "codec delay"))
    assert now is not None
    assert now.value == 100 + len(times) - 1


@settings(max_examples=60)
@given(
    now_s=st.integers(NOON_S - SPAN_S, NOON_S + SPAN_S), left_s=st.integers(-90_000, 90_000), zone_min=ZONES_MIN,
    typed_zone=st.booleans(),
)  # fmt: skip
def test_whole_minutes_to_the_deadline_of_a_change(now_s: int, left_s: int, zone_min: int, typed_zone: bool) -> None:
    """A deadline typed in any zone, or in UTC without one, to the second: whole minutes left, less than none after it."""
    deadline_s = now_s + left_s
    text = said(deadline_s, zone_min) if typed_zone else said(deadline_s, 0)[:19].replace("T", " ")
    deadline_at = instant(text)
    assert deadline_at is not None
    steps = [Step("north", "North", (StepField("main", "codec delay", "us", 500.0, 0.0),))]
    found = live_change(NETWORK, steps, begun_at=at(now_s - 60), deadline_at=deadline_at, now=at(now_s))
    assert found.left_min == left_s // 60
