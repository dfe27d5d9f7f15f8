"""The crew's language: what reaches the mast is printed in it, out of the catalogues of `webapp/languages`.

A catalogue is a .po file, read as it is: nothing is compiled, so nothing compiled can be older than its text. English
is the language of the templates and needs none. Numbers, units and dates are the same in every language: what stands
on a sheet is what stands on the device, in the tables and on the telephone.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from sfn.check.doubts import DOUBTS
from sfn.errors import Problem
from sfn.plan import Network
from sfn.report import numbers
from webapp.shell.places_said import text_said

if TYPE_CHECKING:
    from babel.support import Translations

FOLDER = Path(__file__).parent.parent / "languages"
ENGLISH = "en"
LANGUAGE: ContextVar[str] = ContextVar("language", default=ENGLISH)
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
def catalogue(language: str) -> "Translations":
    """The messages of a language.

    Raises
    ------
    OSError
        If there is no catalogue of it.
    """
    # Only where another language is printed: English needs no Babel.
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po
    from babel.support import Translations

    with (FOLDER / f"{language}.po").open("rb") as file:
        read = read_po(file, locale=language)
    compiled = BytesIO()
    write_mo(compiled, read)
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
    if value is None:
        return word(text)
    for said in UNIT_WORDS:
        text = text.replace(said, word(said))
    return text


def in_english(said: str) -> str:
    """A text that exists in English only, as a page in another language prints it: whole, and named as such."""
    return said if LANGUAGE.get() == ENGLISH else word("[in English: %(said)s]") % {"said": said}


def doubt(problem: Problem) -> str:
    """A doubt as a sheet prints it: in another language its kind by its code, then the check's own English sentence."""
    said = in_english(text_said(problem.what))
    if LANGUAGE.get() == ENGLISH or problem.code not in DOUBTS:
        return said
    return f"{word(DOUBTS[problem.code].why)} {said}"


def wanted(problem: Problem) -> str:
    """What would be right instead, as a sheet prints it."""
    return in_english(text_said(problem.expected))
