"""One table of rules, two who look it up: the server and a telephone without a connection say the same of every form."""

import json
import random
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from sfn.check.review import review
from sfn.plan import read
from sfn.plan.number_text import number_written
from sfn.study.asks import asks
from sfn.study.readings import Question, Reading, judged
from sfn.study.sheet import Sheet, sheet
from sfn.survey.rules import fixed
from sfn.units import exact, unit_length_us
from tests.number_texts import NO_NUMBER, READ, TWO_WAYS
from webapp.shell import languages
from webapp.standing.readings import LOCKS

pytestmark = pytest.mark.browser
ROOT = Path(__file__).parents[2]
UNITS = ("us", "ms", "100ns", "1/16.384MHz", "samples@48000")
FORMS_N = 250
SPLITS_N = 20
LINES = ("pilot_phase", "deviation", "pre_emphasis")


def plan(unit: str, step: float, set_now: float) -> Sheet:
    """A sheet of the example's south site with a coarse field of some unit."""
    document = json.loads((ROOT / "tests/sfn/example-network.json").read_text(encoding="utf-8"))
    site = next(one for one in document["sites"] if one["id"] == "south")
    site["delay_fields"][0] |= {"unit": unit, "step": step, "least": 0, "greatest": 5_000_000, "set": set_now}
    site["lock"] = {"pilot_phase_deg": 10.0, "deviation_khz": 75.0, "pre_emphasis_us": 50}
    document["work_order"] = {"rollback_deadline": "03:30"}
    return sheet(review(read(json.dumps(document)), problems=()), "south")


def near(number: float, rng: random.Random) -> float:
    """A number as somebody types it who means another: turned, moved, in another unit, with digits exchanged."""
    digits = list(rng.choice((f"{number:.4f}", f"{number:.10g}", "106", "2696")))
    places = [i for i, mark in enumerate(digits) if mark.isdigit()]
    k = rng.randrange(max(1, len(places) - 1))
    i, j = places[k], places[min(k + 1, len(places) - 1)]
    digits[i], digits[j] = digits[j], digits[i]
    ways = (
        number, -number, number * 10 ** rng.choice((-3, -2, -1, 1, 2, 3)), float("".join(digits)),
        number + rng.choice((0.3, 0.5, 1.5, -1, 1, 7, 1000, -0.0004)), rng.uniform(-10, 300_000), 1e6 + number, 0,
    )  # fmt: skip
    return rng.choice(ways)


def another_split(made: Sheet, rng: random.Random) -> dict[str, str]:
    """Both fields at another split of the planned total, now and then not quite; read, now and then 40 us off."""
    route, steps = made.routes[0], rng.choice((-2, -1, 1, 2))
    coarse, fine = route.fields
    moved = steps * exact(made.site.delay_fields[0].step)
    rest = exact(fine.value) - moved * unit_length_us(coarse.unit) + rng.choice((0, 0, 0, 1))
    typed = {"set-1": f"{float(exact(coarse.value) + moved):.10g}", "set-2": f"{float(rest):.10g}"}
    typed["plane"] = route.planes[-1].plane
    for n in range(1, rng.randrange(1, 5)):
        typed[f"reading-{n}"] = f"{route.planes[-1].passes_us + rng.choice((0.0, 0.01, 40.0)):.3f}"
    return typed


def written(number: float, rng: random.Random) -> str:
    """As people write numbers, some of them so that nobody can read them."""
    plain = f"{round(number, rng.choice((0, 1, 3, 4))):.10g}" if abs(number) > 1e-4 else str(round(number, 3))
    if "e" in plain:
        plain = f"{number:.3f}"
    ways = (
        plain, plain, plain, plain.replace(".", ","), f" {plain} ", plain.replace("-", "\u2212"), f"+{plain}",
        f"{float(plain):,.3f}".replace(",", rng.choice((" ", "\u202f"))), f"{plain}us", "1,234", "12..3", "1.5e3",
    )  # fmt: skip
    return rng.choice(ways)


def form(made: Sheet, rng: random.Random) -> dict[str, str]:
    """What somebody types at a site."""
    route = made.routes[0]
    typed = {}
    for n, line in enumerate(route.fields, 1):
        about = rng.choice((line.value, line.back.value or 0.0))
        if rng.random() < 0.85:
            typed[f"set-{n}"] = written(near(float(about), rng), rng)
    typed["plane"] = rng.choice([one.plane for one in route.planes])
    amounts = {"test_cable_us": rng.choice((0.1, 2.5, 50.0)), "demodulator_us": rng.choice((2.3, 1500.0))}
    for name, amount in amounts.items():
        if rng.random() < 0.6:
            typed[name] = f"{amount:g}"
    for n in range(1, 6):
        if rng.random() < 0.5:
            expected = rng.choice((route.row.launch_us, route.row.launch_us + sum(amounts.values())))
            typed[f"reading-{n}"] = written(near(expected, rng), rng)
    for name, _ in LOCKS:
        if name in LINES and rng.random() < 0.5:
            behind = rng.choice(("", " kHz", "\u00b0", "deg", " us", " or so"))
            typed[f"lock-{name}"] = f"{rng.choice((10, -10, 190, 75, 74.9, 50, 370, 1.5))}{behind}"
    return typed


def said(made: Sheet, typed: dict[str, str], language: str) -> tuple[dict[str, Any], tuple[Question, ...]]:
    """What the server says of a form, and its questions."""
    numbers: dict[str, Fraction] = {}
    wrong = {}
    for name, text in typed.items():
        if name == "plane" or name.startswith("lock-"):
            continue
        try:
            numbers[name] = number_written(text)
        except ValueError as error:
            wrong[name] = str(error)
    route = made.routes[0]
    as_set = {line.name: typed[f"set-{n}"] for n, line in enumerate(route.fields, 1) if f"set-{n}" in numbers}
    seen = [name for name in numbers if name.startswith("reading-")]
    locks = {name: typed[f"lock-{name}"] for name, _ in LOCKS if f"lock-{name}" in typed}
    cable, demodulator = (float(numbers.get(name, 0)) for name in ("test_cable_us", "demodulator_us"))
    readings = tuple(float(numbers[name]) for name in seen)
    found = judged(
        made, Reading("main", as_set, readings, typed["plane"], cable, demodulator, locks, typed_in=tuple(seen))
    )
    off = None if found.worst_us is None else fixed(Fraction(repr(found.worst_us)), 3)
    with languages.printed_in(language):
        advice = {"word": languages.word(found.advice.word), "text": languages.advised(found.advice)}
    answer = {
        "wrong": wrong,
        "questions": [[one.field, one.text] for one in found.questions],
        "advice": found.advice.as_json() | advice,
        "off": off if off is None or off.startswith("-") else f"+{off}",
    }
    return answer, found.questions


def test_the_telephone_reads_numbers_as_everything_else_does(browser: Browser) -> None:
    """The table to which tables and forms are held: values exactly, refusals word for word."""
    tab = browser.new_page()
    tab.add_script_tag(path=str(ROOT / "webapp/static/at-site-rules.js"))
    texts = [*READ, *TWO_WAYS, *NO_NUMBER]
    there = tab.evaluate(
        """(texts) => texts.map((text) => {
          const read = atSite.number(text);
          return read.wrong ?? [String(read.value.n), String(read.value.d)];
        })""",
        texts,
    )
    for text, found in zip(texts, there, strict=True):
        if text in READ:
            assert READ[text] == float(Fraction(int(found[0]), int(found[1]))), text
            continue
        with pytest.raises(ValueError) as refused:  # noqa: PT011 # the words are compared below
            number_written(text)
        assert str(refused.value) == found, text
    tab.close()


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_telephone_asks_and_advises_what_the_server_does(browser: Browser, language: str) -> None:
    """Random forms in five units: numbers refused, questions, their order, advice and deviation, word for word.

    In German the questions' own words too; what is sent back stays English.
    """
    rng = random.Random(20261129)
    tab = browser.new_page()
    tab.add_script_tag(path=str(ROOT / "webapp/static/at-site-rules.js"))
    asked_n, kinds, splits = 0, set(), set()
    for unit in UNITS:
        made = plan(unit, {"us": 0.1, "ms": 1.0}.get(unit, 1.0), 40.0)
        with languages.printed_in(language):
            table = languages.rules_said(asks(made, made.routes[0]))
        forms = [form(made, rng) for _ in range(FORMS_N // len(UNITS))]
        forms += [another_split(made, rng) for _ in range(SPLITS_N)]
        there = tab.evaluate("([table, forms]) => forms.map((typed) => atSite.judge(table, typed))", [table, forms])
        for typed, found in zip(forms, there, strict=True):
            told = [(one["field"], one.get("told")) for one in found["questions"] if one.get("code") != "lock-unclear"]
            found["questions"] = [[one["field"], one["text"]] for one in found["questions"]]
            expected, questions = said(made, typed, language)
            assert expected == found, typed
            with languages.printed_in(language):
                own = [(q.field, languages.asked(q.asked)) for q in questions if q.asked.code != "lock-unclear"]
            assert told == (own if language == "de" else [(field, None) for field, _ in own]), typed
            asked_n += len(found["questions"])
            kinds.add(found["advice"]["does"])
            splits.add(found["advice"]["word"])
    with languages.printed_in(language):
        words = {languages.word(one) for one in ("Total as planned", "Total agrees")}
    tab.close()
    # The forms are worth something: most are questioned, and most kinds of advice come up.
    assert asked_n > FORMS_N
    assert {"repeat", "roll back", "set"} <= kinds
    assert words <= splits
