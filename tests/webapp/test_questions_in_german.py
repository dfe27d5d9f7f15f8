"""Questions about slips in the crew's language: chosen by their codes, with the figures and units of the English ones."""

import html
import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import product
from typing import Any

from babel.messages.pofile import read_po
from starlette.testclient import TestClient

from sfn.plan import DelayField
from sfn.plan.document import LockSheet
from sfn.report import numbers
from sfn.survey.lock_sheet import cable_rules, lock_rules, question_lock
from sfn.survey.question_words import SAYS
from sfn.survey.rules import Asked, Groups, Sum, asked, value
from sfn.survey.slips import launch_rules, setting_rules
from sfn.units import THIN, exact
from tests.webapp.test_languages import SLOT
from tests.webapp.test_languages_at_site import IN_ENGLISH, in_both as in_both
from tests.webapp.test_readings import link
from webapp.shell import languages

UNITS = ("us", "ms", "100ns", "1/16.384MHz", "samples@48000")
ENGLISH_UNITS = {
    "us": "µs", "microseconds": "µs", "milliseconds": "ms", "nanoseconds": "ns", "Nanosekunden": "ns", "kHz": "kHz",
    "ms": "ms", "ns": "ns", "µs": "µs", "km": "km", "MHz": "MHz", "degrees": "degrees", "Grad": "degrees",
    "steps": "steps", "Schritte": "steps", "Schritten": "steps", "units": "steps", "samples": "samples", "Abtastwerte": "samples",
}  # fmt: skip
WORD = re.compile(r"[A-Za-zµ]+")
FIGURE = re.compile(rf"(?<![\w.])[+-]?\d[\d{THIN},]*(?:\.\d+)?")


def settings() -> Iterator[tuple[Groups, list[Fraction], dict[str, Fraction]]]:
    """Rules of settings in five units, forward and back, with values that slips of the pen would make."""
    for unit, back, sign in product(UNITS, (False, True), ("later", "earlier")):
        for step in (1.0, 0.5):
            field = DelayField(name="exciter", unit=unit, step=step, least=0, greatest=1e6, sign=sign, set=0)  # type: ignore[arg-type]
            total = None if back else Sum((("set", Fraction(1)), ("other", Fraction(1))), Fraction(-1500))
            rules = setting_rules(
                "set", field, planned=1234, old=5670, going_back=back, total=total, others={"link": exact(77)}
            )
            tried = [exact(one) * factor for one in (1234, 5670) for factor in FACTORS]
            tried += list(map(exact, (1243, 5760, 77, 1300, 1200, 12.3, 1e7, -3, 123.4, 1300.25, 4321, 6750)))
            yield rules, tried, {}
            if total is not None:
                yield rules, [exact(1200)], {"other": exact(300)}


FACTORS = [
    Fraction(n) for n in ("1", "-1", "1000", "1/1000", "10", "1/10", "100", "1/100", "1000000", "1/1000000", "10000")
] + [Fraction(1000, 48), Fraction(48, 1000), Fraction(16384, 1000), Fraction(1000, 16384), Fraction(192, 1000)]  # fmt: skip


def launches() -> Iterator[tuple[Groups, list[Fraction], dict[str, Fraction]]]:
    """Rules of launches, forward and back, with readings that slips would make."""
    known = (("test cable", "test_cable_us"), ("demodulator", "demodulator_us"))
    plain = Sum((("set", Fraction(1)), ("test_cable_us", Fraction(-1)), ("demodulator_us", Fraction(-1))))
    for back in (False, True):
        rules = launch_rules(
            (plain, value("set")), name="set", planned_us=exact(122_600.45), tolerance_us=exact(0.02),
            old_us=exact(122_100.45), known=known, going_back=back,
        )  # fmt: skip
        amounts = {"test_cable_us": exact(2), "demodulator_us": exact(50)}
        planned = exact(122_652.45)
        tried = [planned + exact(one) for one in (2, 50, -2, -50, 7, -500, -245_200.9, 3, -2 + 0.002, -2 + 2000)]
        tried += [exact(one) for one in (122.60045 + 52, 122_600_450 + 52, 126_252.45, -122_548.45, 122_600.45)]
        tried += [planned - 50 + exact(0.05), planned - 50 + 50_000]
        yield rules, tried, amounts


def locks() -> Iterator[tuple[Groups, list[Fraction], dict[str, Fraction]]]:
    """Rules of the lock sheet and the test cable."""
    lock = LockSheet(pilot_phase_deg=20.0, deviation_khz=75.0, pre_emphasis_us=50)  # type: ignore[arg-type]
    for name, numbers_typed in (("pilot_phase", (200, -20, 70)), ("deviation", (67.5,)), ("pre_emphasis", (75,))):
        yield lock_rules(name, "set", lock=lock, tolerance_us=1.0), list(map(exact, numbers_typed)), {}
    yield cable_rules("set"), [exact(50)], {}


def every() -> dict[str, list[Asked]]:
    """Questions that the rules ask, by their code."""
    found: dict[str, list[Asked]] = {}
    for rules, tried, others in (*settings(), *launches(), *locks()):
        for one in tried:
            for question in asked(rules, {**others, "set": one}):
                found.setdefault(question.code, []).append(question)
    for question in question_lock("deviation", "1,234 kHz", lock=LockSheet(deviation_khz=75.0), tolerance_us=1.0):
        found.setdefault(question.code, []).append(question)
    return found


def figures(text: str) -> Counter[str]:
    """Numbers of a sentence, however their thousands are set apart."""
    return Counter(one.replace(THIN, "").replace(",", "").lstrip("+") for one in FIGURE.findall(text))


def units(text: str) -> set[str]:
    """Units that a sentence names."""
    return {ENGLISH_UNITS[one] for one in WORD.findall(text) if one in ENGLISH_UNITS} - {"degrees"}


def test_every_code_is_asked_by_some_slip_and_reads_german() -> None:
    """None is left in English; figures and units are those of the English question, each as often."""
    found = every()
    assert set(found) == set(SAYS)
    assert len(found) > 45
    for code, questions in found.items():
        for question in questions:
            english = languages.asked(question)
            assert english == languages.spelled(question.text)
            with languages.printed_in("de"):
                german = languages.asked(question)
            assert IN_ENGLISH not in german, code
            assert german.endswith(("?", "? (" + str(question.gaps.get("off")) + " µs)"))
            if code == "lock-unclear":
                assert question.gaps["typed"] in german
                continue
            assert figures(german) == figures(english), (code, german, english)
            assert units(german) == units(english), (code, german, english)
            for word in ("the ", "typed", " is ", "planned", "%(", "which"):
                assert word not in german, german


def test_catalogue_and_engine_have_the_same_codes_and_gaps() -> None:
    """Each German question has the gaps of its English one; the telephone is sent the only one that it makes itself."""
    with (languages.FOLDER / "de.po").open("rb") as file:
        german = {str(one.id): one for one in read_po(file, locale="de") if one.context == languages.QUESTION}
    assert set(german) == set(SAYS)
    for code, message in german.items():
        same = set(SLOT.findall(SAYS[code])) == set(SLOT.findall(str(message.string)))
        assert same or code == "lock-unclear", code
    assert [code for code, one in german.items() if languages.TELEPHONE in one.auto_comments] == ["lock-unclear"]


def test_units_are_those_beside_the_fields() -> None:
    """What a German question calls a unit is what the field's label says."""
    field = DelayField(name="link", unit="samples@48000", step=1, least=0, greatest=1e6, sign="later", set=0)
    (question, *_) = asked(setting_rules("set", field, planned=48, old=None), {"set": exact(1000)})
    with languages.printed_in("de"):
        assert languages.asked(question) == (
            "1000 ist der geplante Wert 48 Abtastwerte bei 48 kHz in der Einheit „µs“; dieses Feld hat die Einheit"
            " „Abtastwerte bei 48 kHz“: welche ist gemeint?"
        ).replace("1000", f"1{THIN}000")
        assert languages.unit_text("samples@48000") == "Abtastwerte bei 48 kHz"
    assert numbers.unit_text("us") == "µs"


def asked_of(client: TestClient, address: str, form: Mapping[str, str]) -> list[dict[str, Any]]:
    """The questions that a script is answered."""
    answer = client.post(address, data=dict(form), headers={"Accept": "application/json"})
    assert answer.status_code == 422, answer.text
    found: list[dict[str, Any]] = answer.json()["questions"]
    return found


def test_the_german_page_asks_in_german_and_sends_the_english_keys(
    client: TestClient, in_both: dict[str, tuple[int, int]]
) -> None:
    """Page, JSON answer and the table for the telephone; a tick of the German page is taken as that of the English."""
    form = {"initials": "AE", "set-1": "-106", "set-2": "3827", "plane": "antenna", "reading-1": "7"}
    english, german = (
        asked_of(client, link(in_both[language][0], "south", in_both[language][1]), form) for language in ("en", "de")
    )
    assert len(english) >= 3
    assert [(q["field"], q["text"], q["code"]) for q in english] == [(q["field"], q["text"], q["code"]) for q in german]
    assert [q["told"] for q in english] == [languages.spelled(q["text"]) for q in english]
    address = link(in_both["de"][0], "south", in_both["de"][1])
    page = html.unescape(client.post(address, data=form).text)
    assert IN_ENGLISH not in page.partition('<div id="questions"')[2].partition('<div class="site-fields"')[0]
    for question in german:
        assert question["told"] != question["text"]
        assert question["told"] in page
        assert f'value="{question["field"]}: {question["text"]}"' in page
    ticks = {f"confirm-{n}": f"{q['field']}: {q['text']}" for n, q in enumerate(german, 1)}
    taken = client.post(address, data=form | ticks, headers={"Accept": "application/json"})
    assert taken.json()["kept"] is True


def test_the_table_of_a_german_telephone_has_both_wordings(
    client: TestClient, in_both: dict[str, tuple[int, int]]
) -> None:
    """Every rule says its English key and its German sentence; an English telephone's table says one alone."""
    told = {}
    for language, (number, revision) in in_both.items():
        page = client.get(link(number, "south", revision)).text
        rules = re.search(r'data-rules="([^"]+)"', page)
        assert rules
        table = json.loads(html.unescape(rules[1]))
        groups = [*table["fields"].values(), table["readings"]]
        told[language] = [rule for one in groups for group in one for rule in group["rules"]]
    assert len(told["de"]) > 40
    assert [rule["says"] for rule in told["de"]] == [rule["says"] for rule in told["en"]]
    assert all(rule["told"] and rule["told"] != rule["says"] for rule in told["de"])
    assert not any("told" in rule for rule in told["en"])
