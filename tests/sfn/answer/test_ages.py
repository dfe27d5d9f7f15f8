"""How old and how sure numbers are, and what a change of firmware makes uncertain."""

import json
from datetime import UTC, datetime
from typing import Any

import pytest

from sfn.answer.ages import changed_document, document
from sfn.check import all_problems
from sfn.cli import main
from sfn.errors import PlanError
from sfn.plan import read
from sfn.study.ages import LaunchSeen, ages, launches_seen
from sfn.study.history import Visit, histories, history_csv
from sfn.timeline.event import Event
from sfn.timeline.held import Held
from sfn.timeline.revisions import Saved, revision_events
from sfn.timing import delay_table
from tests.sfn.networks import EXAMPLE_PATH, example

TODAY = "2026-11-26"


def tree() -> dict[str, Any]:
    """The example's document."""
    made: dict[str, Any] = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    return made


def of(found: Any, name: str) -> Any:
    """A site or a stage of an answer."""
    return next(
        o for o in found if name in (getattr(o, "site_id", None), getattr(getattr(o, "stage", None), "id", None))
    )


def test_ages_count_days_and_name_what_is_unsure() -> None:
    """Days since the figure's date; parts of the latency that are assumed or undated add up from the stages."""
    network = example()
    found = ages(network, today=TODAY)
    answer = document(found)
    assert len(found.sites) == len(network.sites)
    for one in found.sites:
        own = [s for s in found.stages if one.name in s.sites and s.stage.id in _main(network, one.site_id)]
        assert one.latency_us == pytest.approx(sum(s.latency_us for s in own))
        assumed = [s for s in own if s.stage.source in (None, "assumed")]
        assert one.assumed_latency_us == pytest.approx(sum(s.latency_us for s in assumed))
        row = delay_table(network).row(one.site_id)
        assert (one.tolerance_us, one.rss_us, one.assumed_us) == (row.tolerance_us, row.rss_us, row.assumed_us)
        assert one.assumed_us <= one.tolerance_us
    assert {one.site_id: one.unstated for one in found.sites} == {
        "north": ("north-feeder",), "south": ("south-feeder",), "gap": ("north-feeder",)
    }  # fmt: skip
    for line in answer["stages"]:
        if line["date"] == "2026-09-14":
            assert line["age_days"] == 73
    assert all(not one.again for one in found.sites)


def _main(network: Any, site_id: str) -> tuple[str, ...]:
    site = next(s for s in network.sites if s.id == site_id)
    return next(c.stages for c in site.chains if c.route == "main")


def _stage(network: Any, name: str) -> Any:
    return next(s for s in network.stages if s.id == name)


def test_a_change_marks_what_was_measured_before_it() -> None:
    """The stage, every site that it is in, and a launch that was measured before: all to be measured again."""
    plain = tree()
    site = plain["sites"][0]
    name = site["chains"][0]["stages"][-1]
    changed = changed_document(plain, [name], firmware="v9", day="2026-11-01", today="2026-11-26")
    network = read(json.dumps(changed))
    seen = {site["id"]: LaunchSeen("2026-10-30", 0.1)}
    found = ages(network, today=TODAY, seen=seen)

    assert name in found.sites[0].again
    assert found.sites[0].site_id == site["id"]
    assert "2026-10-30" in found.sites[0].launch_again
    assert "v9 since 2026-11-01" in of(found.stages, name).again
    assert any(f"stage {name} changed on 2026-11-01" in p.what for p in all_problems(network))

    for stage in changed["stages"]:
        if stage["id"] == name:
            stage |= {"source": "measured", "date": "2026-11-02"}
    after = ages(read(json.dumps(changed)), today=TODAY, seen={site["id"]: LaunchSeen("2026-11-03", 0.1)})
    assert not any(one.again or one.launch_again for one in after.sites)


@pytest.mark.parametrize(
    ("stages", "firmware", "day", "says"),
    [
        (["nothing"], "v2", "2026-11-01", "there is no stage 'nothing'"),
        ([], "v2", "2026-11-01", "no stage was chosen"),
        (["x"], " ", "2026-11-01", "is empty"),
        (["x"], "v2", "soon", "is no day"),
    ],
)
def test_changes_are_refused_in_words(stages: list[str], firmware: str, day: str, says: str) -> None:
    """What is missing is named."""
    with pytest.raises(PlanError, match=says):
        changed_document(tree(), stages, firmware=firmware, day=day, today="2026-11-26")


def test_the_assumed_part_is_a_part_of_the_tolerance() -> None:
    """An assumed stage of 1,450 us, good to 48 us: 48 us of the tolerance are assumed, 1,450 us of the latency."""

    def change(tree: dict[str, Any]) -> None:
        tree["stages"][8] = {"id": "south-feeder", "kind": "other", "latency_us": 1450, "tolerance_us": 48}
        tree["stages"][8] |= {"tolerance_kind": "unit", "source": "assumed"}

    south = of(ages(example(change), today=TODAY).sites, "south")
    assert (south.assumed_us, south.assumed_latency_us) == (48, 1450)
    assert south.tolerance_us == pytest.approx(2 + 1 + 0.5 + 48)


def test_a_relays_launch_is_as_old_as_its_parents_stages() -> None:
    """North's exciter changed after the launch of gap was measured: gap follows north, so its launch says nothing."""
    network = example(lambda t: t["stages"][4].update(changed="2026-11-01", firmware="2"))
    found = ages(network, today=TODAY, seen={"gap": LaunchSeen("2026-10-30", 0.1)})

    assert "north-exciter changed after the launch was measured" in of(found.sites, "gap").launch_again
    assert of(found.sites, "gap").again == ()


def test_two_sites_of_one_name_do_not_share_their_faults() -> None:
    """What must be measured again belongs to the site whose chain it is in, whatever the sites are called."""

    def change(tree: dict[str, Any]) -> None:
        tree["sites"][1]["name"] = tree["sites"][0]["name"]
        tree["stages"][7].update(changed="2026-11-01")

    found = ages(example(change), today=TODAY)
    assert of(found.sites, "south").again == ("south-exciter",)
    assert of(found.sites, "north").again == ()


def test_history_tells_only_what_changed_at_a_site() -> None:
    """A revision that leaves a site as it was is none of its events; the numbers are the delay table's."""
    first = example()
    second = example(lambda t: t["sites"][0].update(offset_us=t["sites"][0]["offset_us"] + 5))
    saves = [
        Saved(n, datetime(2026, 11, n, 8, tzinfo=UTC), "Ann", "why", network)
        for n, network in ((1, first), (2, second), (3, second))
    ]
    site = first.sites[0].id
    read_at = datetime(2026, 11, 2, 9, tzinfo=UTC)
    said = {"revision": 2, "main": True, "set_off_us": 0.0, "launch_us": 1234.5, "off_us": -0.25, "tolerated_us": 1.0}
    # It arrived a week late: where it stands goes by when it held.
    event = Event("entry-1", site, "read", Held.sure(read_at), datetime(2026, 11, 9, tzinfo=UTC), "bo", said)
    events = (event, *revision_events(saves))
    found = {one.site_id: one for one in histories(second, events)}

    assert [p.revision for p in found[site].planned] == [1, 2]
    assert all(p.revision != 3 for one in found.values() for p in one.planned)
    assert found[site].planned[1].launch_us == delay_table(second).row(site, "main").launch_us
    assert found[site].visits == (Visit("2026-11-02 09:00", "bo", 2, 0.0, 1234.5, -0.25, 1.0),)
    text = history_csv([found[site]]).splitlines()
    assert len(text) == 4
    assert text[3].startswith(f"{site},2026-11-02 09:00,read,2,bo,,1234.5,,0,-0.25")


PARENTS = {site.id: site.fed_off_air_from for site in example().sites}


def event(day: int, kind: Any, site: str = "north", **said: Any) -> Event:
    """Something at a site on a day of November."""
    at = datetime(2026, 11, day, 8, tzinfo=UTC)
    return Event(f"entry-{day}-{kind}", site, kind, Held.sure(at), at, "bo", said)


def launches(*events: Event) -> dict[str, LaunchSeen]:
    """The launches that were measured, of the example's sites."""
    return launches_seen(events, parents=PARENTS)


def test_a_launch_of_the_device_before_is_none_of_the_new_one() -> None:
    """The newest launch is that which held last; once the device is replaced it must be measured again."""
    reads = [event(9, "read", main=True, off_us=0.4), event(7, "read", main=True, off_us=3.0)]
    assert launches(*reads) == {"north": LaunchSeen("2026-11-09", 0.4)}
    again = of(ages(example(), today=TODAY, seen=launches(event(10, "replaced"), *reads)).sites, "north").launch_again
    assert again.startswith("the device was replaced, on 2026-11-10")
    assert launches(event(10, "replaced"), *reads, event(11, "read", main=True, off_us=0.1)) == {
        "north": LaunchSeen("2026-11-11", 0.1)
    }


def test_what_is_turned_at_a_parent_marks_the_launches_that_it_feeds() -> None:
    """Gap hears north: north's codec turned after gap's launch was measured, gap is to be measured again; south not."""
    assert PARENTS["gap"] == "north"
    start = [
        event(1, "read", fields={"codec delay": {"value": 3.0}}, main=True, off_us=0.0),
        *(event(2, "read", site, main=True, off_us=0.1) for site in ("gap", "south")),
    ]
    same = event(3, "told", fields={"codec delay": {"value": 3.0}}, main=True)
    assert not any(one.moved for one in launches(*start, same).values())
    turned = event(4, "told", fields={"codec delay": {"value": 9.0}}, main=True)
    found = ages(example(), today=TODAY, seen=launches(turned, *start, same)).sites
    assert "codec delay was turned at north, which feeds it, on 2026-11-04" in of(found, "gap").launch_again
    assert of(found, "north").launch_again.startswith("codec delay was turned, on 2026-11-04")
    assert of(found, "south").launch_again == ""
    assert launches(turned, *start, event(5, "read", "gap", main=True, off_us=0.2))["gap"].moved == ""


def test_command(capsys: pytest.CaptureFixture[str]) -> None:
    """The command prints the same, and refuses a day that is none."""
    assert main(["ages", str(EXAMPLE_PATH), "--today", TODAY, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert {"site", "latency_us", "measure_again"} <= answer["sites"][0].keys()
    assert main(["ages", str(EXAMPLE_PATH)]) == 0
    assert "latency us" in capsys.readouterr().out
    assert main(["ages", str(EXAMPLE_PATH), "--today", "tomorrow"]) == 2
