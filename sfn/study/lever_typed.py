"""Levers as people write them, on a command line, in an address or a form: read, and written again."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sfn.errors import Problem
from sfn.plan.number_text import number_written
from sfn.study.lever_try import EXPECTED_POWER, Lever, power_text, power_written

# Names of addresses and commands, and the figure that each holds.
TYPED = {
    "power": "power_db",
    "azimuth": "azimuth_deg",
    "pattern": "pattern",
    "electrical-tilt": "electrical_tilt_deg",
    "mechanical-tilt": "mechanical_tilt_deg",
    "antenna-height": "antenna_m",
    "position": "position",
    "ground-height": "ground_m",
}
_EXPECTED = {
    "power": EXPECTED_POWER,
    "antenna-height": "metres above ground, as 45",
    "ground-height": "metres above sea level, as 412",
}
_TEXTS = ("pattern", "position")


def levers_typed(
    given: Mapping[str, Mapping[str, str]], *, prefix: str = ""
) -> tuple[dict[str, Lever], tuple[Problem, ...]]:
    """Levers by site out of texts, and what is wrong with those that cannot be read.

    Parameters
    ----------
    given : mapping of a name of `TYPED` to texts by site
        Empty texts try nothing.
    prefix : str
        What stands before a name where it was typed.

    Returns
    -------
    levers, problems
        A problem bears the name and the site of what was typed.
    """
    made: dict[str, Lever] = {}
    problems = []
    for name, texts in given.items():
        for site, text in texts.items():
            if not text.strip():
                continue
            try:
                made[site] = _with(made.get(site, Lever()), name, text.strip())
            except ValueError as error:
                problems.append(
                    Problem(
                        f"{prefix}{name}" if prefix else f"{name}-{site}",
                        f"{site}: {error}",
                        _EXPECTED.get(name, "degrees, as 120 or -2.5"),
                        code="not-a-number",
                        values={"site": site},
                    )
                )
    return made, tuple(problems)


def _with(lever: Lever, name: str, text: str) -> Lever:
    """A lever with one more figure."""
    if name == "power":
        power = power_written(text)
        return replace(lever, power_db=power.power_db, erp_kw=power.erp_kw)
    made: dict[str, Any] = {TYPED[name]: text if name in _TEXTS else float(number_written(text))}
    return replace(lever, **made)


def lever_texts(lever: Lever) -> dict[str, str]:
    """A lever as it is written, by the names of `TYPED`; what is not tried is left out."""
    texts = {
        name: power_text(lever) if name == "power" else getattr(lever, key) if name in _TEXTS else _number(lever, key)
        for name, key in TYPED.items()
    }
    return {name: text for name, text in texts.items() if text}


def _number(lever: Lever, key: str) -> str:
    """One figure as it is written."""
    value = getattr(lever, key)
    return "" if value is None else f"{value:.12g}"
