"""The crew's language: what reaches the mast is printed in it, out of the catalogues of `webapp/languages`.

A catalogue is a .po file, read as it is: nothing is compiled, so nothing compiled can be older than its text. English
is the language of the templates and needs none. Numbers, units and dates are the same in every language: what stands
on a sheet is what stands on the device, in the tables and on the telephone.
"""

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sfn.check.doubts import DOUBTS
from sfn.errors import Problem
from sfn.plan import Network
from sfn.report import numbers
from sfn.study.asks import Asks
from sfn.survey.at_site import Advice
from sfn.survey.question_words import Term, Unit, in_parts
from sfn.survey.rules import Asked, Groups, Slot, as_data
from sfn.units import written
from webapp.shell.places_said import site_said, text_said

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog
    from babel.support import Translations

FOLDER = Path(__file__).parent.parent / "languages"
ENGLISH = "en"
LANGUAGE: ContextVar[str] = ContextVar("language", default=ENGLISH)
TELEPHONE = "telephone"
"""Comment of the catalogues at what the technician's page says by its script."""
WHAT, EXPECTED = "what", "expected"
"""Contexts of the catalogues under which a problem's code stands: what is wrong, and what would be right."""
KEY = "key"
"""Context under which a key of the document stands."""
QUESTION = "question"
"""Context under which the code of a question about a slip stands (`sfn.survey.question_words`)."""
_GAPS = re.compile(r"%\((\w+)\)s")
UNIT_WORDS = ("steps of", "samples at")
"""Words within a unit that `sfn.report.numbers` writes."""


def crew_language(network: Network) -> str:
    """The language of the people at the sites, by the network's work order."""
    order = network.work_order
    return ENGLISH if order is None or order.language is None else order.language


@contextmanager
def printed_in(language: str) -> Iterator[None]:
    """Everything within is printed in a language."""
    before = LANGUAGE.set(language)
    try:
        yield
    finally:
        LANGUAGE.reset(before)


@cache
def _read(language: str) -> "Catalog":
    """The messages of a language, as its file has them."""
    # Only where another language is printed: it takes 0.1 s.
    from babel.messages.pofile import read_po

    with (FOLDER / f"{language}.po").open("rb") as file:
        return read_po(file, locale=language)


@cache
def catalogue(language: str) -> "Translations":
    """The messages of a language, to be looked up.

    Raises
    ------
    OSError
        If there is no catalogue of it.
    """
    from babel.messages.mofile import write_mo
    from babel.support import Translations

    compiled = BytesIO()
    write_mo(compiled, _read(language))
    compiled.seek(0)
    return Translations(compiled)


def word(text: str) -> str:
    """A text in the language that is printed; as it is, where the catalogue has none."""
    language = LANGUAGE.get()
    return text if language == ENGLISH else str(catalogue(language).gettext(text))


def words(one: str, many: str, number: int) -> str:
    """The same of a text that goes by a number."""
    language = LANGUAGE.get()
    if language == ENGLISH:
        return one if number == 1 else many
    return str(catalogue(language).ngettext(one, many, number))


def native(value: float | None, unit: str, *, signed: bool = False) -> str:
    """A setting in its device's own unit; only the words of the unit change with the language."""
    text = numbers.native(value, unit, signed=signed)
    return word(text) if value is None else _units_said(text)


def unit_text(unit: str) -> str:
    """A delay field's unit in words."""
    return _units_said(numbers.unit_text(unit))


def _units_said(text: str) -> str:
    """A unit that the engine wrote, its words in the language that is printed."""
    for said in UNIT_WORDS:
        text = text.replace(said, word(said))
    return text


def in_english(said: str) -> str:
    """A text that exists in English only, as a page in another language prints it: whole, and named as such."""
    return said if LANGUAGE.get() == ENGLISH else word("[in English: %(said)s]") % {"said": said}


def by_code(problem: Problem, part: str) -> str:
    """What the catalogue says of a problem's code, its figures filled in; empty where it has nothing or lacks a figure.

    What stands under ``CODE with FIGURE`` goes before, where that figure is there and not nought.

    Parameters
    ----------
    problem : Problem
    part : {'what', 'expected'}
    """
    told = {**problem.said, **problem.values}
    ids = [f"{problem.code} with {key}" for key in (*(key for key, value in told.items() if value), *problem.fields)]
    here = catalogue(LANGUAGE.get())
    said = next((text for one in (*ids, problem.code) if (text := str(here.pgettext(part, one))) != one), "")
    gaps = {key: _figure(key, value) for key, value in told.items()}
    named = {"sites": tuple(map(site_said, problem.sites)), "stages": problem.stages, "fields": problem.fields}
    named["routes"] = tuple(map(word, problem.routes))
    named["keys"] = tuple(map(_key, problem.fields))
    gaps |= {key: ", ".join(names) for key, names in named.items() if names}
    if not set(_GAPS.findall(said)) <= gaps.keys():
        return ""
    # Not by `%`: a sentence may say per cent.
    return text_said(_GAPS.sub(lambda gap: gaps[gap[1]], said))


def _key(key: str) -> str:
    """A key of the document in words; as it is, where the catalogue has none."""
    return str(catalogue(LANGUAGE.get()).pgettext(KEY, key))


def _amount(value: str, unit: str = "") -> str:
    """A setting in its device's own unit; a key, where nobody knows it."""
    return f"{value} {unit_text(unit)}" if unit else _key(value)


def _at_site(amount: str, site: str) -> str:
    """An amount with its site."""
    return word("%(amount)s at %(site)s") % {"amount": amount, "site": site_said(site)}


# How a name in a gap is said, by how the gap ends.
_NAMES: Mapping[str, Callable[[str], str]] = {
    "_at_sites": lambda amounts: ", ".join(_at_site(*amount.split("\t")) for amount in amounts.split("\n")),
    "_amount": lambda amount: _amount(*amount.split("\t")),
    "_english": in_english,
    "_keys": lambda keys: ", ".join(map(_key, keys.split())),
    "_kind": word,
    "_route": word,
    "_site": site_said,
    "_sites": lambda sites: ", ".join(map(site_said, sites.split("\n"))),
    "_unit": unit_text,
}


def _figure(key: str, value: float | str | Problem | None) -> str:
    """A figure of a problem, or a name in it, as pages print it; a problem behind it in its own words."""
    if isinstance(value, Problem):
        return wanted(value) if key.endswith("_wanted") else doubt(value)
    if isinstance(value, str) or value is None:
        ends = next((end for end in _NAMES if key.endswith(end)), "")
        return _NAMES[ends](value) if value and ends else value or ""
    text = written(value if key.endswith("_full_us") else round(value, 4))
    return f"{text} us" if key.endswith("_us") else text


def doubt(problem: Problem) -> str:
    """A doubt as a sheet prints it.

    In another language what its code says there; where that is nothing, its kind, and the check's own English sentence.
    """
    said = text_said(problem.what, problem.where)
    if LANGUAGE.get() == ENGLISH:
        return said
    itself = problem.said.get("itself")
    if isinstance(itself, Problem):
        site, parent = (site_said(str(problem.said[name])) for name in ("fed_site", "parent_site"))
        return word("site %(site)s is fed off air from %(parent)s: %(said)s") % {
            "site": site, "parent": parent, "said": doubt(itself),
        }  # fmt: skip
    if theirs := by_code(problem, WHAT):
        return theirs
    kind = f"{word(DOUBTS[problem.code].why)} " if problem.code in DOUBTS else ""
    return kind + in_english(said)


def wanted(problem: Problem) -> str:
    """What would be right instead, as a sheet prints it."""
    said = text_said(problem.expected, problem.where)
    return said if LANGUAGE.get() == ENGLISH else by_code(problem, EXPECTED) or in_english(said)


def told(problem: Problem) -> str:
    """What is wrong and what would be right, as the technician's page tells it."""
    return "; ".join(filter(None, (doubt(problem), wanted(problem) if problem.expected else "")))


def advised(advice: Advice) -> str:
    """What is to be done at a site, in a sentence."""
    return advice.text if LANGUAGE.get() == ENGLISH else word(advice.message) % {"deadline": advice.deadline}


def advised_after(advice: Advice) -> str:
    """What still holds of it once it was sent."""
    return advice.after if LANGUAGE.get() == ENGLISH else word(advice.message_after) % {"deadline": advice.deadline}


def spelled(text: str) -> str:
    """A question as the engine words it, its units spelled as at the fields."""
    return re.sub(r"\bus\b", "µs", text).replace("units of 100 ns", "steps of 100 ns")


def asked(question: Asked) -> str:
    """A question about something that looks like a slip."""
    if LANGUAGE.get() == ENGLISH:
        return spelled(question.text)
    return "".join(map(str, _put(question.code, question.gaps))) or in_english(spelled(question.text))


def _put(code: str, gaps: Mapping[str, str | Slot | Unit | Term]) -> Sequence[str | Slot]:
    """A question in pieces, in the language that is printed; none where its catalogue has no such code."""
    sentence = str(catalogue(LANGUAGE.get()).pgettext(QUESTION, code))
    return () if sentence == code else tuple(map(_piece, in_parts(sentence, gaps)))


def _piece(one: str | Slot | Unit | Term) -> str | Slot:
    """What fills a gap of a question."""
    if isinstance(one, Unit):
        return unit_text(one.unit)
    return word(one.text) if isinstance(one, Term) else one


def rules_said(table: Asks) -> dict[str, Any]:
    """The table that a telephone goes by, its questions and its advice in the language that is printed.

    In another language each question says ``told``; ``says`` stays English, for it is what the form sends back.
    """
    advice = table.advised_by_case()
    said = {key: one.as_json() | {"word": word(one.word), "text": advised(one)} for key, one in advice.items()}
    rules = table.as_json() | {"advice": said}
    if LANGUAGE.get() != ENGLISH:
        rules["fields"] = {name: _told_rules(groups) for name, groups in table.fields.items()}
        rules["readings"] = _told_rules(table.readings)
    return rules


def _told_rules(groups: Groups) -> list[dict[str, Any]]:
    """Rules as data, with their questions in the language that is printed."""
    return [
        group.as_json()
        | {"rules": [rule.as_json() | {"told": as_data(_put(rule.code, rule.gaps))} for rule in group.rules]}
        for group in groups
    ]


def telephone_words() -> str:
    """What the script of a technician's page says, and problems by their codes, as JSON; empty in English."""
    language = LANGUAGE.get()
    if language == ENGLISH:
        return ""
    telephone = [one for one in _read(language) if TELEPHONE in one.auto_comments]
    said = {str(one.id): str(one.string) for one in telephone if not one.context}
    # Doubts about a sheet stand on the page, or come with what is told of them: no script looks them up.
    coded = [one for one in _read(language) if str(one.id).partition(" with ")[0] not in DOUBTS]
    codes = {str(one.id): str(one.string) for one in coded if one.context == WHAT}
    wanted_by = {str(one.id): str(one.string) for one in coded if one.context == EXPECTED}
    questions = {str(one.id): str(one.string) for one in telephone if one.context == QUESTION}
    return json.dumps({"said": said, WHAT: codes, EXPECTED: wanted_by, QUESTION: questions}, ensure_ascii=False)
