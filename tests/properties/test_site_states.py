"""A site's state from many readings is quick where most are settings of today's plan, and the same as with all judged.

The slow way here judges every reading whole, as the state is defined: each field stands as it was reported last, what
was measured before a field was turned counts no more, an older plan's setting counts where it agrees.
"""

from collections.abc import Sequence

import pytest
from hypothesis import given, settings, strategies as st

import sfn
from sfn.check.review import review
from sfn.plan.number_text import number_written
from sfn.study.readings import Reading, judged
from sfn.study.sheet import Sheet, sheet
from sfn.study.site_state import site_state
from sfn.survey.readings import restart_tolerance

NETWORK = sfn.load_demo("fm_ridge").network
REVIEWED = review(NETWORK, problems=())
SHEETS = tuple(sheet(REVIEWED, row.site_id) for row in REVIEWED.table.rows)


def slowly(made: Sheet, name: str, readings: Sequence[tuple[Reading, bool]]) -> tuple[object, ...]:
    """What stands on one route, what was measured last, and the scatter, every reading judged."""
    stood: dict[str, tuple[str, bool]] = {}
    measured, launches, plane = None, [], ""
    for reading, current in readings:
        if reading.replaced:
            stood, measured, launches = {}, None, []
            continue
        if reading.route != name:
            continue
        try:
            found = judged(made, reading, ask=False)
        except ValueError:
            continue
        unknown = {field for field, text in reading.as_set.items() if text is None and field in stood}
        for field in unknown:
            del stood[field]
        typed = {line.name: line.value for line in found.settings}
        turned = any(field in stood and float(number_written(stood[field][0])) != typed[field] for field in typed)
        if unknown or turned:
            measured = None
        counts = current or found.state not in ("disagrees", "split")
        for field in typed:
            stood[field] = (str(reading.as_set[field]), counts)
        if not counts:
            measured = None
        elif found.launches:
            launches = launches if measured is not None and reading.plane == plane else []
            launches = [*launches, *(one.launch_us for one in found.launches)]
            measured, plane = found, reading.plane
    settings_ = {field: float(number_written(text)) for field, (text, _) in stood.items()}
    scatter = restart_tolerance(launches) if measured is not None and len(launches) > 1 else None
    return settings_, measured, scatter


@st.composite
def site_and_readings(draw: st.DrawFn) -> tuple[Sheet, list[tuple[Reading, bool]]]:
    """A sheet, and what was sent from its site: right, wrong, unknown, no number, other routes, planes that are gone."""
    made = draw(st.sampled_from(SHEETS))
    route = made.routes[0]
    planes = [*(one.plane for one in route.planes), "no such plane"]
    found = []
    for _ in range(draw(st.integers(0, 12))):
        as_set: dict[str, str | None] = {}
        for line in route.fields:
            how = draw(st.sampled_from(("planned", "other", "same otherwise", "unknown", "left out", "no number")))
            if how != "left out":
                as_set[line.name] = {
                    "planned": f"{line.value}", "other": f"{line.value + draw(st.integers(1, 3))}",
                    "same otherwise": f"{line.value}0", "unknown": None, "no number": "x",
                }[how]  # fmt: skip
        seen = draw(st.lists(st.floats(route.row.launch_us - 5, route.row.launch_us + 5), max_size=2))
        reading = Reading(
            draw(st.sampled_from([one.row.route for one in made.routes] + ["gone"])), as_set, tuple(seen),
            draw(st.sampled_from(planes)), replaced=draw(st.integers(0, 9)) == 0,
        )  # fmt: skip
        found.append((reading, draw(st.booleans())))
    return made, found


@settings(max_examples=300)
@given(site_and_readings())
def test_the_quick_way_is_the_slow_way(given_: tuple[Sheet, list[tuple[Reading, bool]]]) -> None:
    """What is set, what was measured, and the scatter of launches."""
    made, readings = given_
    state = site_state(made, readings)
    stands, measured, scatter = slowly(made, state.route, readings)
    if state.settings is not None:
        assert {line.name: line.value for line in state.settings.settings} == pytest.approx(stands)
    assert state.measured == measured
    assert state.scatter == scatter
