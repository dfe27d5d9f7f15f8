"""The form of a search for plans of change: what is varied, within which bounds, at what cost."""

import json
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import ValidationError

from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.plan.may_change import ChangeCosts, LicenceContour, SiteChanges
from sfn.plan.number_text import number_in
from sfn.study.how_sure import LEAST_WORLDS_N, MOST_WORLDS_N, AskedSure
from sfn.study.lever_try import ALL_ROUND, has_tables
from sfn.study.plan_levers import KINDS
from sfn.study.plan_scene import Licence, licence_of
from webapp.config.limits import whole_number
from webapp.forms.weights import points_typed

BOUNDS = {
    "power": ("power", "power_db", -60.0, 30.0, "dB"),
    "azimuth": ("azimuth", "azimuth_deg", -180.0, 540.0, "degrees"),
    "tilt": ("tilt", "electrical_tilt_deg", -20.0, 20.0, "degrees"),
    "mechanical-tilt": ("tilt", "mechanical_tilt_deg", -20.0, 20.0, "degrees"),
}
"""Fields of the form, which lever each belongs to, its key, and what it may be."""
ENDS = ("least", "greatest", "step")
PLAN_LABELS = {
    f"{name}-{end}": f"{what}: {said}"
    for name, what, ends in (
        ("power", "Power", ("least change", "greatest change", "step")),
        ("azimuth", "Azimuth", ("first", "last", "step")),
        ("tilt", "Electrical tilt", ("least", "greatest", "step")),
        ("mechanical-tilt", "Mechanical tilt", ("least", "greatest", "step")),
    )
    for end, said in zip(ENDS, ends, strict=True)
} | {
    "vary": "Vary", "most_us": "Greatest offset", "budget_s": "Time", "seed": "Random seed", "worlds": "Drawn worlds",
    "robust": "Search for", "sigma_db": "Spread of levels", "whole_db": "Alike over a site’s area",
    "decorrelation_m": "Alike over", "site_correlation": "Two sites at a place",
    "cost-visit": "Cost of a visit", "cost-rigging": "Cost of a day on the mast",
    "cost-licence": "Cost of a licence change", "cost-unit": "What costs are counted in",
    "licence-level": "Licence contour: level", "licence-points": "Licence contour: corners", "patterns": "Pattern",
    "licence": "Licence looked at", "reason": "Why", "author": "Your name",
}  # fmt: skip
"""What the page calls its fields."""
COSTS = {"cost-visit": "visit", "cost-rigging": "rigging_day", "cost-licence": "licence_change"}
EXPECTED = {"licence-points": "3 to 500 corners: latitude, longitude, one a line", "cost-unit": "a word, as visits"}
USUAL = {
    "count": "people", "budget_s": "30", "seed": "1", "most_us": "", "vary-offset": "yes", "vary-power": "yes",
    "power-least": "-6", "power-greatest": "0", "power-step": "3", "azimuth-least": "0", "azimuth-greatest": "345",
    "azimuth-step": "15", "tilt-least": "0", "tilt-greatest": "3", "tilt-step": "0.5", "mechanical-tilt-least": "",
    "mechanical-tilt-greatest": "", "mechanical-tilt-step": "", "cost-visit": "1", "cost-rigging": "4",
    "cost-licence": "2", "cost-unit": "visits", "licence-level": "", "licence-points": "",
    "worlds": "100", "robust": "", "sigma_db": "", "whole_db": "", "decorrelation_m": "", "site_correlation": "",
}  # fmt: skip
ROBUST = ("", "p20", "mean")


def usual_of(network: Network) -> dict[str, str]:
    """What the form shows before anything is typed: costs are the document's, where it has any."""
    costs = network.may_change.costs if network.may_change else None
    if costs is None:
        return dict(USUAL)
    told = {field: f"{getattr(costs, key):g}" for field, key in COSTS.items()}
    return USUAL | told | {"cost-unit": costs.unit}


def typed_of(network: Network, form: Mapping[str, str]) -> dict[str, str]:
    """What was typed, by the form's names; boxes that are not ticked are empty."""
    sites = [site.id for site in network.sites]
    boxes = [f"vary-{kind}" for kind in KINDS]
    names = [*(name for name in USUAL if not name.startswith("vary-")), *boxes, *(f"hold-{site}" for site in sites)]
    names += [f"pattern-{site}" for site in (*sites, ALL_ROUND)]
    return {name: form.get(name, "").strip() for name in names}


def asked_of(network: Network, typed: Mapping[str, str]) -> dict[str, Any]:
    """The search as typed: vary, general, costs, licences, and held, most_us, seed, budget_s, by_area of the offsets.

    Raises
    ------
    PlanError
        With every field that cannot be used.
    """
    problems: list[Problem] = []
    vary = frozenset(kind for kind in KINDS if typed.get(f"vary-{kind}"))
    if not vary:
        what, expected = "nothing is to be varied", "one box ticked at least"
        problems.append(Problem("vary", what, expected, code="nothing-to-vary", fields=("vary-offset",)))
    line: dict[str, Any] = {"on_air": "on-off" in vary}
    for name, (kind, key, least, greatest, unit) in BOUNDS.items():
        texts = {end: typed[f"{name}-{end}"] for end in ENDS}
        if kind in vary and any(texts.values()):
            line[key] = dict(_steps(name, texts, least, greatest, unit, problems))
    if "pattern" in vary:
        line["patterns"] = [one for one in (*pattern_sites(network), ALL_ROUND) if typed[f"pattern-{one}"]] or None
    costs: dict[str, Any] = {"unit": typed["cost-unit"]}
    for field, key in COSTS.items():
        costs[key] = _number(field, typed[field], 0, 1e6, "", problems)
    counted = {
        "seed": _whole("seed", typed["seed"], 10**9, problems),
        "budget_s": _number("budget_s", typed["budget_s"], 1, 3600, "s", problems),
        "most_us": _number("most_us", typed["most_us"], 0, 10_000, "us", problems) if typed["most_us"] else None,
        "by_area": typed["count"] == "area",
        "held": frozenset(site.id for site in network.sites if typed[f"hold-{site.id}"]),
    }
    licences = tuple(_licences(typed, problems))
    sure = _sure(typed, problems)
    if problems:
        raise PlanError(problems)
    told = all(typed[field] == usual_of(network)[field] for field in (*COSTS, "cost-unit"))
    return {
        "vary": vary,
        "general": _record(SiteChanges, line),
        "costs": None if told else _record(ChangeCosts, costs),
        "licences": licences,
        "sure": None if typed["worlds"] == "0" else sure,
        "robust": typed["robust"] or None,
        "counted": counted,
    }


def pattern_sites(network: Network) -> list[str]:
    """Sites whose pattern another may take."""
    return [site.id for site in network.sites if has_tables(site.antenna)]


def _steps(
    name: str, texts: Mapping[str, str], least: float, greatest: float, unit: str, problems: list[Problem]
) -> Iterator[tuple[str, float]]:
    """Least, greatest and step of one lever."""
    for end, text in texts.items():
        low, high = (1e-3, 1000.0) if end == "step" else (least, greatest)
        yield end, _number(f"{name}-{end}", text, low, high, unit, problems)


def _number(name: str, text: str, least: float, greatest: float, unit: str, problems: list[Problem]) -> float:
    """A number in its range; what is wrong goes to the others' problems."""
    try:
        return float(number_in(text, least=least, greatest=greatest))
    except ValueError as error:
        expected = f"{least:g} to {greatest:g} {unit}".strip()
        problems.append(Problem(name, str(error), expected, code="not-a-number", fields=(name,)))
        return 0.0


def _whole(name: str, text: str, greatest: int, problems: list[Problem]) -> int:
    """A whole number from 0; what is wrong goes to the others' problems."""
    number = whole_number(text)
    if number is None or not 0 <= number <= greatest:
        what, expected = f"{text!r} is no whole number in its range", f"a whole number, 0 to {greatest}"
        problems.append(Problem(name, what, expected, code="not-a-number", fields=(name,)))
        return 0
    return number


def _record(of: Any, tree: dict[str, Any]) -> Any:
    """A record of the document; what is wrong is told at the field it was typed in."""
    keys = {key: f"{name}-least" for name, (_, key, *_) in BOUNDS.items()}
    keys |= {"unit": "cost-unit", "area": "licence-points"}
    try:
        return of.model_validate_json(json.dumps(tree))
    except ValidationError as error:
        raise PlanError(
            Problem(
                (name := keys.get(str(one["loc"][0]), str(one["loc"][0]))), one["msg"].removeprefix("Value error, "),
                EXPECTED.get(name, "bounds in order, and at most 100 values"), code="out-of-range", fields=(name,),
            )
            for one in error.errors(include_url=False)
        ) from None  # fmt: skip


def _sure(typed: Mapping[str, str], problems: list[Problem]) -> AskedSure:
    """Drawn worlds as typed; what is left empty is as usual."""
    worlds_n = _whole("worlds", typed["worlds"], MOST_WORLDS_N, problems)
    if 0 < worlds_n < LEAST_WORLDS_N:
        what, expected = f"{worlds_n} worlds say little", f"{LEAST_WORLDS_N} to {MOST_WORLDS_N}, or 0 for none"
        problems.append(Problem("worlds", what, expected, code="out-of-range", fields=("worlds",)))
    if typed["robust"] not in ROBUST or (typed["robust"] and typed["worlds"] == "0"):
        what = "a search for what holds in drawn worlds needs some, and p20 or mean"
        expected = "one of the choices, and 20 worlds or more"
        problems.append(Problem("robust", what, expected, code="option-idle", fields=("robust",)))
    given: dict[str, float] = {}
    for name, key, greatest, unit in (
        ("sigma_db", "sigma_db", 20, "dB"), ("whole_db", "whole_db", 20, "dB"),
        ("decorrelation_m", "distance_m", 100_000, "m"), ("site_correlation", "site_correlation_ratio", 0.99, ""),
    ):  # fmt: skip
        if typed[name]:
            given[key] = _number(name, typed[name], 1 if name == "decorrelation_m" else 0, greatest, unit, problems)
    if {"sigma_db", "whole_db"} <= given.keys() and given["whole_db"] > given["sigma_db"]:
        what = f"{given['whole_db']:g} dB alike over a site's area are more than all of it, {given['sigma_db']:g} dB"
        problems.append(Problem("whole_db", what, "a part of the spread", code="out-of-range", fields=("whole_db",)))
    return AskedSure(worlds_n=max(worlds_n, LEAST_WORLDS_N), **given)  # type: ignore[arg-type]


def _licences(typed: Mapping[str, str], problems: list[Problem]) -> Iterator[Licence]:
    """The contour that was typed, of every site."""
    if not typed["licence-points"]:
        if typed["licence-level"]:
            what, expected = "a level alone is no contour", "corners beside it, or none of both"
            problems.append(Problem("licence-level", what, expected, code="option-idle", fields=("licence-level",)))
        return
    level = _number("licence-level", typed["licence-level"], -20, 150, "dBuV/m", problems)
    try:
        points = points_typed(typed["licence-points"], field="licence-points")
        line = {"name": "the contour typed here", "level_dbuvm": level, "area": points}
        yield licence_of(_record(LicenceContour, line))
    except PlanError as error:
        problems.extend(error.problems)
