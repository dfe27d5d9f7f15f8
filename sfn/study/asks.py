"""What is asked and advised at a site, one table a route: the server and a telephone go by the same."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from sfn.plan.reported import Stood
from sfn.study.sheet import RouteSheet, Sheet
from sfn.survey.at_site import Advice, Settings, advice, advice_table
from sfn.survey.lock_sheet import UNITS, cable_rules, lock_rules
from sfn.survey.rules import Asked, Groups, Sum, asked
from sfn.survey.slips import launch_rules, setting_rules
from sfn.timeline.present import key_of
from sfn.timing.device import contributes
from sfn.units import exact

_SECOND_US = Fraction(1_000_000)
_ONE = Fraction(1)
READING = "reading"
"""Name of one reading in the rules: they are the same for each."""
KNOWN = (("test cable", "test_cable_us"), ("demodulator", "demodulator_us"))
LOCKS = ("pilot_phase", "deviation", "pre_emphasis")


@dataclass(frozen=True, slots=True)
class Asks:
    """The table of one route.

    Parameters
    ----------
    fields : mapping of field name to Groups
        ``set-N`` in the field's own unit, ``test_cable_us``, ``lock-...``.
    readings : Groups
        About each reading, under the name `READING`.
    planes_us : mapping of plane to Fraction
        From the plane to the antenna. [us]
    off : Sum
        Launch minus plan, within half a second. [us]
    tolerated_us : Fraction
        [us]
    planned, back : mapping of ``set-N`` to Fraction
        What each field is to stand at, and stood at before as far as anybody knows. [own unit]
    weights : mapping of ``set-N`` to Fraction
        What one unit of each field adds to the delay. [us]
    deadline : str
        By when the old values go back; empty where nothing says so.
    going_back : bool
        Whether a change is taken back: `planned` then are the old values, `back` what is taken back.
    """

    fields: Mapping[str, Groups]
    readings: Groups
    planes_us: Mapping[str, Fraction]
    off: Sum
    tolerated_us: Fraction
    planned: Mapping[str, Fraction]
    back: Mapping[str, Fraction]
    weights: Mapping[str, Fraction]
    deadline: str
    going_back: bool = False

    @property
    def can_go_back(self) -> bool:
        """Whether every old value is known."""
        return len(self.back) == len(self.planned)

    def questions(self, typed: Mapping[str, Fraction], readings: Mapping[str, Fraction]) -> Iterator[tuple[str, Asked]]:
        """Field and question of everything that looks like a slip, field by field.

        Parameters
        ----------
        typed : mapping of field name to Fraction
            Everything but the readings; `plane_us` for the plane read at.
        readings : mapping of field name to Fraction
            [us]
        """
        for name, groups in self.fields.items():
            if name in typed:
                yield from ((name, one) for one in asked(groups, typed))
        for name, reading_us in readings.items():
            yield from ((name, one) for one in asked(self.readings, {**typed, READING: reading_us}))

    def advised(
        self, typed: Mapping[str, Fraction], readings: Mapping[str, Fraction]
    ) -> tuple[Advice, Fraction | None]:
        """What to do, and the reading that is farthest off. [us]"""
        found = [self.off.of({**typed, READING: one}) for one in readings.values()]
        offs = [one for one in found if one is not None]
        agreeing_n = sum(abs(one) <= self.tolerated_us for one in offs)
        advised = advice(
            self.settings(typed), readings_n=len(offs), agreeing_n=agreeing_n, deadline=self.deadline,
            can_go_back=self.can_go_back, going_back=self.going_back,
        )  # fmt: skip
        return advised, max(offs, key=abs, default=None)

    def settings(self, typed: Mapping[str, Fraction]) -> Settings:
        """How the fields stand."""
        seen = {name: typed[name] for name in self.planned if name in typed}
        if not seen:
            return "none"
        if all(self.planned[name] == one for name, one in seen.items()):
            return "planned" if len(seen) == len(self.planned) else "none"
        whole = len(seen) == len(self.planned)
        if whole and all(self.back.get(name) == one for name, one in seen.items()):
            return "back"
        if not whole:
            return "part"
        off = sum(self.weights[name] * (one - self.planned[name]) for name, one in seen.items())
        return "split" if off == 0 else "other"

    def advised_by_case(self) -> Mapping[str, Advice]:
        """What is advised in every case."""
        return advice_table(deadline=self.deadline, can_go_back=self.can_go_back, going_back=self.going_back)

    def as_json(self) -> dict[str, Any]:
        """As data, fractions as text."""
        groups: dict[str, list[dict[str, Any]]] = {name: _data(one) for name, one in self.fields.items()}
        return {
            "fields": groups,
            "readings": _data(self.readings),
            "planes": {name: str(one) for name, one in self.planes_us.items()},
            "off": self.off.as_json(),
            "tolerated": str(self.tolerated_us),
            "planned": {name: str(one) for name, one in self.planned.items()},
            "back": {name: str(one) for name, one in self.back.items()},
            "weights": {name: str(one) for name, one in self.weights.items()},
            "advice": {key: one.as_json() for key, one in self.advised_by_case().items()},
            "units": list(UNITS),
        }


def asks(
    made: Sheet, route: RouteSheet, *, deadline: str | None = None, questions: bool = True, going_back: bool = False
) -> Asks:
    """The table of a route of a sheet.

    Parameters
    ----------
    made : Sheet
    route : RouteSheet
        One of its routes.
    deadline : str, optional
        By when the old values go back; otherwise what the work order says.
    questions : bool
        Without them only what is needed to say what a reading is worth.
    going_back : bool
        Whether the sheet is one of `sfn.study.going_back`: it asks for the old values.
    """
    order = made.network.work_order
    written = (order.rollback_deadline if order is not None else None) or ""
    own = {one.name: one for one in made.site.delay_fields}
    fields: dict[str, Groups] = {}
    planned, back, weights = {}, {}, {}
    for n, line in enumerate(route.fields, 1):
        name = f"set-{n}"
        planned[name] = exact(line.value)
        weights[name] = contributes(own[line.name], 1.0) - contributes(own[line.name], 0.0)
        if line.back.before is not None:
            back[name] = exact(line.back.before)
    # Going back is to the old value of every field, not to another split of them.
    total = None if going_back or len(planned) < 2 else _total_off(planned, weights)
    for n, line in enumerate(route.fields if questions else (), 1):
        old = None if line.back.before == line.value else line.back.before
        others = {one.name: exact(one.value) for one in route.fields if one is not line}
        fields[f"set-{n}"] = setting_rules(
            f"set-{n}", own[line.name], planned=line.value, old=old, going_back=going_back, total=total, others=others
        )
    if questions:
        fields["test_cable_us"] = cable_rules("test_cable_us")
    if questions and made.site.lock is not None:
        for lock in LOCKS:
            name = f"lock-{lock}"
            fields[name] = lock_rules(lock, name, lock=made.site.lock, tolerance_us=made.tolerated_us)
    planned_us = exact(route.row.launch_us) % _SECOND_US
    tolerated_us = exact(made.tolerated_us)
    plain = Sum(((READING, _ONE), ("test_cable_us", -_ONE), ("demodulator_us", -_ONE), ("plane_us", _ONE)))
    inside = Sum(plain.terms, plain.plus, _SECOND_US)
    readings = _about_readings(made, route, (inside, plain), planned_us, tolerated_us, going_back) if questions else ()
    launch_us = exact(route.row.launch_us)
    planes = {one.plane: max(Fraction(0), launch_us - exact(one.passes_us)) for one in route.planes}
    off = inside.moved(-planned_us, turn=_SECOND_US)
    by = written if deadline is None else deadline
    return Asks(fields, readings, planes, off, tolerated_us, planned, back, weights, by, going_back)


@dataclass(frozen=True, slots=True)
class Already:
    """What to do where every field stands as the sheet wants it already, and the reports that say so."""

    advice: Advice
    reports: tuple[Stood, ...]


def already(table: Asks, made: Sheet, route: RouteSheet) -> Already | None:
    """What is known already at a site, so that nobody is asked for it again.

    Parameters
    ----------
    table : Asks
        Of the route.
    made : Sheet
    route : RouteSheet
        One of its routes.

    Returns
    -------
    already : Already or None
        None where a field was never reported, or its latest report says otherwise than the sheet.
    """
    if made.network.reported is None or not route.fields:
        return None
    keys = [key_of(made.site, route.row.route, line.name) for line in route.fields]
    found = [made.network.reported.now(key) for key in keys]
    stood = {
        f"set-{n}": exact(one.value) for n, one in enumerate(found, 1) if one is not None and one.value is not None
    }
    if len(stood) < len(found) or table.settings(stood) not in ("planned", "split"):
        return None
    reports = tuple(dict.fromkeys(one for one in found if one is not None))
    return Already(table.advised(stood, {})[0], reports)


def _total_off(planned: Mapping[str, Fraction], weights: Mapping[str, Fraction]) -> Sum:
    """By how much all fields together differ from the planned total. [us]"""
    plus = -sum((weights[name] * one for name, one in planned.items()), Fraction(0))
    return Sum(tuple(weights.items()), plus)


def _about_readings(
    made: Sheet, route: RouteSheet, candidates: tuple[Sum, Sum], planned_us: Fraction, tolerated_us: Fraction,
    going_back: bool,
) -> Groups:  # fmt: skip
    """Questions about each reading; counted inside the planned second, without it, and as it was typed."""
    turned_us = _turned(made, route)
    return launch_rules(
        (*candidates, Sum(((READING, _ONE),))),
        name=READING,
        planned_us=planned_us,
        tolerance_us=tolerated_us,
        old_us=None if turned_us is None or abs(turned_us) <= tolerated_us else planned_us - turned_us,
        known=KNOWN,
        going_back=going_back,
    )


def _turned(made: Sheet, route: RouteSheet) -> Fraction | None:
    """How much later the settings of the sheet launch than those that it goes back to. [us]"""
    own, turned = {one.name: one for one in made.site.delay_fields}, Fraction(0)
    for line in route.fields:
        if line.back.before is None:
            return None
        turned += contributes(own[line.name], line.value) - contributes(own[line.name], line.back.before)
    return turned


def _data(groups: Groups) -> list[dict[str, Any]]:
    """Groups as data."""
    return [one.as_json() for one in groups]
