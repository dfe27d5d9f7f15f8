"""What revisions say happened: only what they changed at a site, when it held and when it arrived."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from sfn.answer.timeline import document
from sfn.study.timeline import timeline
from sfn.timeline.event import Event, silent_at
from sfn.timeline.held import Held
from sfn.timeline.present import FieldReport, Report, as_it_stands
from sfn.timeline.revisions import Saved, revision_events
from sfn.timing import delay_table
from tests.sfn.networks import example


def saved(*changes: Callable[[dict[str, Any]], Any] | None) -> list[Saved]:
    """Revisions of the example, one an hour, each with all changes so far."""
    made, so_far = [], []
    for n, change in enumerate(changes, 1):
        so_far += [change] if change else []

        def every(tree: dict[str, Any], done: tuple[Any, ...] = tuple(so_far)) -> None:
            """All changes up to this revision."""
            for one in done:
                one(tree)

        made.append(Saved(n, datetime(2026, 11, 20, n, tzinfo=UTC), "Ann", f"save {n}", example(every)))
    return made


def test_a_revision_tells_what_it_changed_at_each_site_and_no_more() -> None:
    """Take-over, off air, firmware, correction: each once, at its site, by the revision that made it."""

    def take_over(tree: dict[str, Any]) -> None:
        tree["sites"][0]["delay_fields"][0]["set"] = 500

    def off(tree: dict[str, Any]) -> None:
        tree["sites"][2]["on_air"] = False

    def firmware(tree: dict[str, Any]) -> None:
        tree["stages"][7] |= {"firmware": "v9", "changed": "2026-11-03"}

    def correction(tree: dict[str, Any]) -> None:
        stage = tree["sites"][1]["chains"][0]["stages"][0]
        tree["corrections"] = [
            {
                "taken_at": "2026-11-20T03:30:00Z", "rows": ["0" * 16], "set_us": {}, "stages": {"south": stage},
                "amounts_us": {"south": -1.5},
            }
        ]  # fmt: skip

    saves = saved(None, take_over, off, firmware, correction, None)
    found = [one for one in revision_events(saves) if one.values["revision"] > 1 and one.kind != "planned"]
    assert [(one.kind, one.site_id, one.values["revision"]) for one in found] == [
        ("set-in-plan", "north", 2),
        ("off-air", "gap", 3),
        ("stage-changed", "south", 4),
        ("corrected", "south", 5),
    ]
    assert found[0].values["fields"]["codec delay"] == {"value": 500.0, "unit": "us", "before": 0.0}
    assert found[2].held.day_alone
    assert found[2].held.at < found[2].arrived_at
    assert found[3].values["moved_us"] == -1.5
    assert (found[3].held.at.hour, found[3].held.at.minute) == (3, 30)
    planned = [one for one in revision_events(saves) if one.kind == "planned" and one.site_id == "south"]
    table = delay_table(saves[0].network)
    assert planned[0].values["launch_us"] == table.row("south").launch_us
    assert {one.site_id for one in revision_events(saves[:1])} == {"north", "south", "gap"}


def test_reports_of_one_minute_stand_beside_each_other() -> None:
    """Two values typed for one minute: each names the other, the present one and the document too; none is lost."""
    at, arrived = datetime(2026, 11, 20, 9, 30, tzinfo=UTC), datetime(2026, 11, 20, 12, tzinfo=UTC)
    minute = Held(at, at, at.replace(second=59))

    def report(name: str, value: float) -> Report:
        """One of the codec at the northern site."""
        return Report("north", "main", {"codec delay": FieldReport(value, "us")}, minute, arrived, name, entry=name)

    network = as_it_stands(example(), [report("entry-1", 7.0), report("entry-2", 9.0)])
    events = [Event(name, "north", "read", minute, arrived, name, {}) for name in ("entry-2", "entry-1")]
    found = timeline(network, (*events, *revision_events(saved(None))), site_id="north")
    clashes = {line.event.id: {other.id for other in line.contradicts} for line in found.lines if line.contradicts}
    begun = "revision-1-north-set-in-plan"
    assert clashes["entry-1"] == {"entry-2"}
    assert clashes["entry-2"] == {"entry-1", begun}
    assert clashes[begun] == {"entry-2"}
    assert {problem.code for problem in found.problems} == {"reports-contradict", "plan-old-value-contradicted"}
    told = document(found)["present"]
    assert [(one["value"], one["plan_says"], one["entry"]) for one in told] == [(9.0, 0.0, "entry-2")]


def test_silence_lasts_until_somebody_says_otherwise() -> None:
    """Muted at 8, on air at 10, whatever arrived first."""
    hours = {"muted": 8, "unmuted": 10}
    events = [
        Event(kind, "gap", kind, Held.sure(datetime(2026, 11, 20, hour, tzinfo=UTC)), datetime.now(UTC), "C")  # type: ignore[arg-type]
        for kind, hour in sorted(hours.items(), reverse=True)
    ]
    at = [silent_at(events, datetime(2026, 11, 20, hour, tzinfo=UTC)) for hour in (7, 8, 9, 10, 11)]
    assert at == [frozenset(), {"gap"}, {"gap"}, frozenset(), frozenset()]
