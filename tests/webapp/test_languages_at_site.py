"""The technician's page in the crew's language: its figures are the English page's, its problems go by their codes."""

import html
import json
import re
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from babel.messages.pofile import read_po
from starlette.testclient import TestClient

import sfn
from sfn.errors import Problem, Touch
from sfn.survey.at_site import advice, advice_table
from sfn.survey.question_words import SAYS
from tests.webapp.test_languages import FIGURE, ROOT, SLOT, TAG, messages
from tests.webapp.test_readings import link
from webapp.shell import languages
from webapp.store.store import Store

IN_ENGLISH = "im englischen Wortlaut"


@pytest.fixture
def in_both(example: dict[str, Any], store: Store, issue: Callable[[int], int]) -> dict[str, tuple[int, int]]:
    """The example and the same for a German crew, issued: number and revision by language."""
    made = {}
    for language in ("en", "de"):
        order = {"rollback_deadline": "04:00", "language": language}
        number = store.create({**example, "work_order": order}, author="test", reason="first").network_id
        made[language] = (number, issue(number))
    return made


def shown(client: TestClient, number: int, revision: int) -> str:
    """The page's own part as text, its sheet and its forms' data left out."""
    page = client.get(link(number, "south", revision)).text
    own = page.partition('<div class="at-site"')[2].partition("</div>\n<article")[0].partition(">")[2]
    return re.sub(r"[ \n]+", " ", html.unescape(re.sub(r"<[^>]+>", " ", own)))


def test_the_german_page_has_the_figures_of_the_english_one(
    client: TestClient, in_both: dict[str, tuple[int, int]]
) -> None:
    """The same numbers, each as often, and no sentence of the English page."""
    english, german = (shown(client, *in_both[language]) for language in ("en", "de"))
    figures = [Counter(FIGURE.findall(re.sub(r"\d{4}-\d\d-\d\d \d\d:\d\d", "", text))) for text in (english, german)]
    assert figures[0] == figures[1]
    assert "Send to the office" in english
    for said in ("An das Büro senden", "Stellen Sie ein, tippen Sie ein, was dort steht", "Zurück auf"):
        assert said in german, said
    left = [one for one in dict.fromkeys(messages()) if len(one) > 24 and not SLOT.search(one) and not TAG.search(one)]
    assert any(one in english for one in left)
    assert [one for one in left if one in german] == []


WRONG = {
    "not-a-number": ({"set-1": "abc"}, "„abc“"),
    "out-of-range": ({"test_cable_us": "-1"}, "-1 liegt außerhalb"),
    "plane-missing": ({"reading-1": "5", "plane": "roof"}, "antenna"),
    "initials-missing": ({"initials": "", "set-1": "1"}, "Kürzel"),
    "nothing-typed": ({}, "nichts eingegeben"),
    "too-long": ({"remarks": "x" * 4001}, "4\u202f001 Zeichen"),
    "not-a-date": ({"set-1": "1", "taken_at": "soon"}, "„soon“"),
    "date-in-the-future": ({"set-1": "1", "taken_at": "2199-01-01 00:00"}, "2199-01-01 00:00 UTC"),
    "date-long-past": ({"set-1": "1", "taken_at": "1999-01-01 00:00"}, "1999-01-01 00:00 UTC"),
}


@pytest.mark.parametrize("code", WRONG)
def test_what_cannot_be_taken_is_told_in_german_by_its_code(
    client: TestClient, in_both: dict[str, tuple[int, int]], code: str
) -> None:
    """In the answer to the script and on the page without it, with what was typed; the keys of before say the same."""
    form, says = WRONG[code]
    data = {"initials": "AE", "plane": "antenna", **form}
    answers = {}
    for language, (number, revision) in in_both.items():
        address = link(number, "south", revision)
        answer = client.post(address, data=data, headers={"Accept": "application/json"})
        assert answer.status_code == 422
        answers[language] = next(one for one in answer.json()["problems"] if one["code"] == code)
        page = html.unescape(client.post(address, data=data).text)
        assert answers[language]["told"] in re.sub(r"<[^>]+>", "", page)
    english, german = answers["en"], answers["de"]
    assert english["told"].startswith(english["what"])
    assert (german["what"], german["expected"]) == (english["what"], english["expected"])
    assert says in german["told"]
    assert IN_ENGLISH not in german["told"]


def test_advice_is_the_same_case_in_german() -> None:
    """Every case has its sentence, the deadline in it as it was typed, percent signs and all."""
    deadline = "04:00 100% sure"
    table = advice_table(deadline=deadline, can_go_back=True)
    with languages.printed_in("de"):
        said = {key: (languages.advised(one), languages.advised_after(one)) for key, one in table.items()}
    assert all((deadline in one.text) == (deadline in said[key][0]) for key, one in table.items())
    assert not any(one.text == said[key][0] or one.after == said[key][1] for key, one in table.items())
    assert sum(deadline in text for text, _ in said.values()) > 10
    made = advice("other", readings_n=0, agreeing_n=0, deadline=deadline)
    assert made == table["other 0 0"]
    assert languages.advised(made) == made.text


def test_what_has_no_german_is_printed_whole_and_named_as_english() -> None:
    """A sentence that no code of the catalogue stands for, or whose figures are not there."""
    unknown = Problem("sites[0]", "the mast hums", "silence", code="hums", touches=(Touch("north"),))
    lacking = Problem("set-1", "'x' is no number", "", code="not-a-number")
    with languages.printed_in("de"):
        assert languages.told(unknown) == f"[{IN_ENGLISH}: the mast hums]; [{IN_ENGLISH}: silence]"
        assert languages.told(lacking) == f"[{IN_ENGLISH}: 'x' is no number]"
    assert languages.told(unknown) == "the mast hums; silence"


def test_the_script_is_sent_its_words(client: TestClient, in_both: dict[str, tuple[int, int]]) -> None:
    """German ones and the codes; an English page carries none."""
    pages = {language: client.get(link(one[0], "south", one[1])).text for language, one in in_both.items()}
    assert "data-words" not in pages["en"]
    found = re.search(r'data-words="([^"]+)"', pages["de"])
    assert found
    words = json.loads(html.unescape(found[1]))
    assert words["said"]["Send what is typed above first, then take this one back."].startswith("Senden Sie zuerst")
    assert words["what"]["link-ended"] == "dieser Link gilt seit %(at)s UTC nicht mehr"


@pytest.mark.parametrize("demo", ["fm_ridge", "dab_plain", "dvbt2_chain"])
def test_a_doubt_in_german_has_the_figures_of_the_english_sentence(demo: str) -> None:
    """Of every problem of the demos whose code the catalogue knows: figures, stages and fields, and nothing invented."""
    found = 0
    for problem in sfn.delay_table(sfn.load_demo(demo)).problems:
        english = languages.doubt(problem)
        with languages.printed_in("de"):
            german = languages.doubt(problem)
            if not languages.by_code(problem, "what"):
                assert f"[{IN_ENGLISH}: {english}]" in german
                continue
        found += 1
        bare = german
        for name in (*problem.sites, *problem.stages, *problem.fields):  # ids may have digits
            bare = bare.replace(name, "")
        assert set(FIGURE.findall(bare)) <= set(FIGURE.findall(english)), (german, english)
    assert found > 0


def test_every_code_of_the_catalogue_is_one_of_the_program() -> None:
    """And its gaps are figures of a problem, or what it names."""
    with (languages.FOLDER / "de.po").open("rb") as file:
        coded = [one for one in read_po(file, locale="de") if one.context]
    source = "".join(
        path.read_text(encoding="utf-8") for top in ("sfn", "webapp") for path in (ROOT / top).rglob("*.py")
    )
    assert len(coded) > 30
    for one in coded:
        assert one.context in (languages.WHAT, languages.EXPECTED, languages.QUESTION, languages.KEY)
        if one.context == languages.KEY:
            assert f'"{one.id}"' in source or str(one.id).rpartition(".")[2] in source, one.id
            continue
        if one.context == languages.QUESTION:
            assert str(one.id) in SAYS
            continue
        code, _, figure = str(one.id).partition(" with ")
        assert f'"{code}"' in source, one.id
        assert not figure or f'"{figure}"' in source, one.id
        for gap in SLOT.findall(str(one.string)):
            name, _, end = gap[2:-2].partition("_")
            assert f'"{gap[2:-2]}"' in source or (f'"{name}"' in source and f'}}_{end}"' in source), (one.id, gap)
