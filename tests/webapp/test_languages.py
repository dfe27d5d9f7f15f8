"""The crew's language: German is whole for field sheets, and every figure on them is the English sheet's."""

import html
import json
import re
from collections import Counter
from collections.abc import Iterator
from itertools import product
from pathlib import Path
from typing import Any, get_args

import pytest
from babel.messages.extract import extract_python
from babel.messages.pofile import read_po
from jinja2.ext import babel_extract
from starlette.testclient import TestClient

from sfn.check.doubts import DOUBTS
from sfn.errors import PlanError, Problem, Touch
from sfn.plan import read_document
from sfn.plan.stage import Source, StageKind
from sfn.survey.at_site import advice_table
from sfn.survey.question_words import AMOUNTS, FACTORS
from sfn.survey.readings import STEPS_US
from sfn.timing import tolerated
from tests.webapp.paper_text import text_of
from webapp.on_air.printing import STAMPS
from webapp.shell import languages
from webapp.shell.places_said import NAMES, names_in
from webapp.standing.readings import LABELS, LEVELS, LOCKS
from webapp.standing.release import State
from webapp.store.store import Store

ROOT = Path(__file__).parents[2]
TEMPLATES = (
    "_partials/sheet_body", "_partials/to_enter", "_partials/way_back", "_partials/head_end_body",
    "on_air/site_reading", "on_air/reading_links_paper", "on_air/change", "on_air/sheet_paper",
)  # fmt: skip
PYTHON = ("on_air/printing.py", "on_air/packet.py", "on_air/site_reading.py", "shell/languages.py")
SCRIPT = ROOT / "webapp" / "static" / "reading.js"
SAID = re.compile(r'\bsay\("((?:[^"\\]|\\.)*)"')
NO_FIGURES = r"(checksum|Prüfsumme) [0-9a-f]{8}|1st 2nd 3rd|1\. 2\. 3\."
SLOT, TAG, FIGURE = re.compile(r"%\(\w+\)s"), re.compile(r"</?\w+[^>]*>"), re.compile(r"\d[\d\u202f]*(?:\.\d+)?")


def messages() -> Iterator[str]:
    """Everything that is printed in the crew's language."""
    for name in TEMPLATES:
        with (ROOT / "templates" / f"{name}.html").open("rb") as file:
            for _, _, found, _ in babel_extract(file, ("_", "gettext"), [], {}):
                yield found if isinstance(found, str) else found[0]
    for name in PYTHON:
        with (ROOT / "webapp" / name).open("rb") as file:
            yield from (str(found) for _, _, found, _ in extract_python(file, ("word",), [], {}) if found)
    yield from SAID.findall(SCRIPT.read_text(encoding="utf-8"))
    yield from (label for labels in (LOCKS, LEVELS) for _, label in labels)
    yield from (*LABELS.values(), *advised_texts(), *get_args(State))
    yield from (stamp for stamp in STAMPS.values() if stamp)
    yield from (doubt.why for doubt in DOUBTS.values())
    yield from (*get_args(StageKind), *get_args(Source), *languages.UNIT_WORDS, "main", "standby", "not known")
    yield "a tenth of the service's tolerance, none was given"
    yield from (*FACTORS, *AMOUNTS, *(name for name, _ in STEPS_US))


def advised_texts() -> Iterator[str]:
    """Every word and sentence of advice, with and without a deadline, back known or not, while going back or not."""
    for deadline, known, back in product(("04:00", ""), (True, False), (True, False)):
        for one in advice_table(deadline=deadline, can_go_back=known, going_back=back).values():
            yield from (one.word, one.message, one.message_after)


def test_every_message_is_there_in_german() -> None:
    """Each has a translation, not a doubtful one, with the same gaps and the same tags."""
    with (languages.FOLDER / "de.po").open("rb") as file:
        german = read_po(file, locale="de")
    wanted = list(dict.fromkeys(messages()))
    assert len(wanted) > 200
    for message in wanted:
        found = german.get(message)
        assert found is not None, message
        assert found.string, message
        assert not found.fuzzy, message
        assert set(SLOT.findall(message)) == set(SLOT.findall(str(found.string))), message
        assert sorted(TAG.findall(message)) == sorted(TAG.findall(str(found.string))), message
    assert {str(one.id) for one in german if one.id and not one.context} <= set(wanted)  # and nothing else


def test_what_the_script_says_is_sent_to_it() -> None:
    """Every message of the script bears the comment by which a page picks it."""
    with (languages.FOLDER / "de.po").open("rb") as file:
        german = read_po(file, locale="de")
    said = SAID.findall(SCRIPT.read_text(encoding="utf-8"))
    assert len(said) > 25
    for message in said:
        found = german.get(message)
        assert found is not None, message
        assert languages.TELEPHONE in found.auto_comments, message


def test_the_words_of_a_missing_tolerance_are_those_of_the_engine() -> None:
    """The one sentence of the engine that the list above names by hand."""
    assert "a tenth of the service's tolerance, none was given" in Path(tolerated.__file__).read_text(encoding="utf-8")


@pytest.fixture
def in_both(example: dict[str, Any], store: Store) -> tuple[int, int]:
    """The example, and the same for a German crew."""
    english = store.create(example, author="test", reason="first").network_id
    order = {**(example.get("work_order") or {}), "language": "de"}
    german = store.create({**example, "name": example["name"], "work_order": order}, author="test", reason="first")
    return english, german.network_id


def seen(client: TestClient, network_id: int, site: str) -> str:
    """The text of a sheet's article."""
    page = client.get(f"/networks/{network_id}/sheets/{site}").text
    article = page.partition("<article")[2].partition(">")[2].partition("</article>")[0]
    return re.sub(r"[ \n]+", " ", html.unescape(re.sub(r"<[^>]+>", " ", article)))


def test_a_german_sheet_has_the_figures_of_the_english_one(
    client: TestClient, in_both: tuple[int, int], example: dict[str, Any]
) -> None:
    """Sheet by sheet the same numbers, each as often, but for the checksum; and no English sentence."""
    for site in (one["id"] for one in example["sites"]):
        english, german = (seen(client, number, site) for number in in_both)
        assert "field sheet" in english
        assert "Einstellblatt" in german
        for said in ("Sicherheitshinweise", "Kette, Weg", "Zulässiger Fehler", "Zurück auf den alten Wert spätestens"):
            assert said in german, said
        figures = [Counter(FIGURE.findall(re.sub(NO_FIGURES, "", text))) for text in (english, german)]
        assert figures[0] == figures[1]
        for message in dict.fromkeys(messages()):
            if len(message) > 24 and not SLOT.search(message) and not TAG.search(message) and message not in WHYS:
                assert message not in german, message


WHYS = {doubt.why for doubt in DOUBTS.values()}


def test_the_german_pdf_is_the_german_page(
    client: TestClient, in_both: tuple[int, int], example: dict[str, Any], tmp_path: Path, poppler: None
) -> None:
    """Stamp, foot and page numbers too; an English crew's paper says none of it."""
    site = example["sites"][0]["id"]
    english, german = (
        text_of(client.get(f"/networks/{number}/sheets/{site}/sheet.pdf").content, tmp_path) for number in in_both
    )
    assert "Seite 1 von" in german
    assert "page 1 of" in english
    assert "NICHT FREIGEGEBEN" in german or "ZURÜCKGEHALTEN" in german
    assert "Netz- und Hochfrequenzspannungen sind lebensgefährlich" in german
    assert "Prüfsumme" not in english


def test_another_language_is_refused_by_name(example: dict[str, Any]) -> None:
    """Only languages that have a catalogue can be chosen."""
    with pytest.raises(PlanError) as refused:
        read_document({**example, "work_order": {"language": "fr"}})
    assert "work_order.language" in refused.value.problems[0].where


@pytest.mark.parametrize("what", ["change.pdf", "head-end.pdf"])
def test_the_german_plan_and_head_end_sheet_have_the_figures_of_the_english(
    client: TestClient, store: Store, example: dict[str, Any], tmp_path: Path, poppler: None, what: str
) -> None:
    """The same numbers, each as often, and no whole English sentence of the template."""
    example["sites"][0]["delay_fields"][0] |= {"entered_at": "head-end", "transmitter_id": "17"}
    texts = {}
    for language in ("en", "de"):
        order = {"rollback_deadline": "04:00", "language": language}
        number = store.create({**example, "work_order": order}, author="test", reason="first").network_id
        text = text_of(client.get(f"/networks/{number}/{what}").content, tmp_path)
        texts[language] = re.sub(r"\s+", " ", re.sub(r"[0-9a-f]{8}|\d{4}-\d\d-\d\d \d\d:\d\d", "", text))
    english, german = texts["en"], texts["de"]
    assert ("Änderungsplan" if what == "change.pdf" else "Blatt für die Kopfstelle") in german
    assert Counter(FIGURE.findall(english)) == Counter(FIGURE.findall(german))
    left = [one for one in dict.fromkeys(messages()) if len(one) > 24 and not SLOT.search(one) and not TAG.search(one)]
    assert any(one in english for one in left)
    assert [one for one in left if one in german and one not in WHYS] == []


def test_a_doubt_reads_the_same_on_the_sheet_and_in_the_plan_on_paper(
    client: TestClient, store: Store, tmp_path: Path, poppler: None
) -> None:
    """In German, with the sites by their names; the page of the office stays English."""
    tree = json.loads((ROOT / "demo_sites" / "fm_ridge.json").read_text(encoding="utf-8"))
    tree["work_order"] = {**(tree.get("work_order") or {}), "language": "de"}
    number = store.create(tree, author="test", reason="first").network_id
    plan = "".join(text_of(client.get(f"/networks/{number}/change.pdf").content, tmp_path).split())
    rests = plan.partition("WoraufdieBlätterberuhen")[2]
    found = 0
    for site in (one["id"] for one in tree["sites"]):
        sheet = client.get(f"/networks/{number}/sheets/{site}").text.partition("<article")[2].partition("</article>")[0]
        for said in re.findall(r"<li>(Standort [^<;]+)", sheet.partition("einstehen für:")[2].partition("</ul>")[0]):
            assert "".join(html.unescape(said).split()) in rests, said
            found += 1
    assert found > 1
    assert "What the sheets rest on" in client.get(f"/networks/{number}/change").text
    names = {one["id"]: one["name"] for one in tree["sites"]}
    with languages.printed_in("de"):
        problem = Problem("sites", "x", "", code="lock-proof-missing", touches=tuple(map(Touch, names)))
        assert languages.doubt(problem).endswith(f"von {', '.join(names)}")
        before = NAMES.set(names_in(tree))
        try:
            assert languages.doubt(problem).endswith(f"von {', '.join(names.values())}")
        finally:
            NAMES.reset(before)
