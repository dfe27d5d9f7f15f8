"""Names of every script on paper: shaped and whole where a font is, else the id and which font is missing."""

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import uharfbuzz as hb
from hypothesis import HealthCheck, Phase, given, settings, strategies as st
from starlette.testclient import TestClient

from tests.webapp.paper_text import bare, text_of
from webapp import paper
from webapp.on_air.site_links import made_link
from webapp.paper import Printed, pdf
from webapp.paper.fonts import Fonts, built_in, folders, runs
from webapp.paper.words import isolated, spelled
from webapp.store.store import Store

# Real words: what a letter looks like depends on those beside it.
NAMES = {
    "Han": "北京东方明珠塔",
    "Hangul": "서울 남산타워",
    "Kana": "東京タワー ひがし",
    "Thai": "กรุงเทพมหานคร ที่นั่น น้ำ",
    "Devanagari": "दिल्ली हिन्दी क्षत्रिय क्‍ष",
    "Arabic": "برج القاهرة للإذاعة",
    "Arabic and a number": "برج 12 القاهرة FM",
    "Hebrew": "ירושלים מגדל",
    "pointed Hebrew": "שָׁלוֹם עֲלֵיכֶם",
    "mixed": "Zürich 北京 7 ที่ North דן",
    "Greek and Cyrillic": "Όλυμπος Эльбрус",
}


def printed(names: dict[str, str], folder: Path) -> str:
    """What a page of headings and sentences with these names says; ids by name."""
    lines = "".join(f"<h2>{name}: sheet</h2><p>Set {name}, {name}: 14.5\u202fµs now.</p>" for name in names)
    page = Printed(f"<h1>Names</h1>{lines}", "foot", names=names)
    return text_of(pdf(page, paper="a4"), folder, "-raw")


def test_a_name_of_every_script_is_whole_and_in_the_order_in_which_it_is_read(
    paper_fonts: None, tmp_path: Path
) -> None:
    """As heading and twice in a sentence; the figure behind each stands alone."""
    text = bare(printed(dict.fromkeys(NAMES.values(), "id"), tmp_path))
    for script, name in NAMES.items():
        assert f"{bare(name)}:sheetSet{bare(name)},{bare(name)}:14.5µsnow." in text, script
    assert "Nofont" not in text


@pytest.mark.parametrize("script", NAMES)
def test_every_glyph_is_there(script: str, paper_fonts: None) -> None:
    """Shaped with the fonts that were found, no letter becomes the box that stands for a missing one."""
    fonts = Fonts(NAMES[script])
    for number, run in runs(NAMES[script], fonts):
        file = fonts.used[number] if number >= 0 else built_in()
        buffer = hb.Buffer()
        buffer.add_str(run)
        buffer.guess_segment_properties()
        hb.shape(hb.Font(hb.Face(hb.Blob.from_file_path(str(file.path)), file.number)), buffer)
        assert all(glyph.codepoint for glyph in buffer.glyph_infos), (run, file)


def test_letters_that_join_do(paper_fonts: None) -> None:
    """Arabic takes its joined forms and Devanagari its ligatures: other glyphs than letter by letter."""
    for name, letters_n in (("القاهرة", 7), ("क्षत्रिय", 8)):
        [(number, run)] = runs(name, Fonts(name))
        file = Fonts(name).used[number] if number >= 0 else built_in()
        font = hb.Font(hb.Face(hb.Blob.from_file_path(str(file.path)), file.number))
        buffer = hb.Buffer()
        buffer.add_str(run)
        buffer.guess_segment_properties()
        hb.shape(font, buffer)
        alone = [font.get_nominal_glyph(ord(letter)) for letter in run]
        assert len(run) == letters_n
        assert [glyph.codepoint for glyph in buffer.glyph_infos] != alone


def test_a_number_after_an_arabic_name_stays_where_it_is() -> None:
    """A name is an isolate (UAX 9): else digits behind Arabic letters would be drawn to the left of them."""
    name = "برج 7"
    assert isolated(f"{name}: 14.5 µs", (name,)) == f"\u2068{name}\u2069: 14.5 µs"
    assert isolated("برج: 14.5 µs", ()) == "\u2068برج\u2069: 14.5 µs"
    assert isolated("North: 14.5", ()) == "North: 14.5"
    assert isolated("a\u202eb", ()) == "ab"  # a mark of one's own turns nothing


def test_on_the_screen_a_figure_behind_an_arabic_field_stays_too(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int]
) -> None:
    """The browser draws 500 to the left of an Arabic name, and its unit to the right, unless the name stands apart."""
    example["sites"][0]["delay_fields"][0]["name"] = "تأخير"
    number = store.create(example, author="test", reason="test").network_id
    issue(number)
    page = client.get(f"/networks/{number}/sheets/north").text.replace("\u202f", " ")

    assert "<h4><bdi>تأخير</bdi>: 500 µs</h4>" in "".join(page.splitlines())
    assert "<h1>North ridge: field sheet</h1>" in page  # others as they were


RIGHT_TO_LEFT = {"north": "ברוש", "south": "برج", "gap": "גבעה"}


def test_every_name_from_right_to_left_stands_apart_where_a_change_is_made(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int], post: Callable[..., Any]
) -> None:
    """Change plan, the change itself, the technician's page and the overview: no bare name beside a figure."""
    for site in example["sites"]:
        site["name"] = RIGHT_TO_LEFT[site["id"]]
        for n, field in enumerate(site["delay_fields"]):
            field["name"] = f"تأخير {'אב'[n]}"
    for stage in example["stages"][6:9]:
        stage |= {"source": "measured", "date": "2026-05-02", "tolerance_us": 0.1}
    example["common_delay"] = {"mode": "fixed", "value_us": 123_000}
    number = store.create(example, author="test", reason="test").network_id
    issue(number)
    site = "/site/" + made_link(
        "test-key-of-the-tests-that-nobody-guesses", network_id=number, site_id="south", revision=1, days=7
    )
    change = f"/networks/{number}/change"
    pages = [client.get(change).text, client.get(f"{change}/live").text, client.get(site).text]
    deadline = f"{datetime.now(UTC) + timedelta(hours=2):%Y-%m-%d %H:%M}"
    assert post(f"{change}/confirm/begin", author="C. Room", deadline=deadline).status_code == 303
    sent = {"initials": "AE", "set-1": "0", "set-2": "0", "remarks": "as it stood"}
    asked = client.post(site, data=sent, headers={"Accept": "application/json"}).json().get("questions", ())
    ticks = {f"confirm-{n}": f"{q['field']}: {q['text']}" for n, q in enumerate(asked)}
    assert client.post(site, data=sent | ticks, headers={"Accept": "application/json"}).json()["kept"]
    pages += [client.get(where).text for where in (f"{change}/live", site, f"/networks/{number}/readings")]
    assert post(f"{change}/confirm/back", author="C. Room").status_code == 303
    pages += [client.get(where).text for where in (f"{change}/live", site)]

    for page in pages:
        body = re.sub(r"<(title|option|script|nav|header)\b.*?</\1>", "", page, flags=re.S)
        body = re.sub(r"<bdi>[^<]*</bdi>", "", body)
        # A Latin letter between a name and a figure keeps the figure where it is (UAX 9).
        body = re.sub(r"</?(b|span|a|del|label)\b[^>]*>", "", body)
        shown = re.sub(r"<[^>]*>", "\n", body)
        assert "<bdi>" in page
        assert [] == [line for line in shown.splitlines() if re.search(r"[\u0590-\u06ff][^A-Za-z\d]*\d", line)]


def test_without_a_font_the_id_is_printed_and_the_package_named(
    poppler: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No font but DejaVu: names with an id stand as it, other words as their script, and nothing is blank."""
    monkeypatch.setattr(paper, "Fonts", lambda text: Fonts(text, ()))
    body = "<h1>北京 塔: sheet</h1><p>กรุงเทพ 7 waits for 北京 塔, says दिल्ली. Όλυμπος Эльбрус ירושלים.</p>"
    page = Printed(body, "北京 塔 · revision 7", names={"北京 塔": "north", "กรุงเทพ 7": "south"})
    text = text_of(pdf(page, paper="a4"), tmp_path, "-raw").replace("\n", " ")

    assert "[north]: sheet" in text
    assert "[south] waits for [north], says [Devanagari: no font]. Όλυμπος Эльбрус ירושלים" in text
    assert "[north] · revision 7" in text
    for script, package in (
        ("Han", "fonts-wqy-microhei"),
        ("Thai", "fonts-noto-core"),
        ("Devanagari", "fonts-noto-core"),
    ):
        assert f"{script} (Debian: {package})" in text
    assert "replaced by its id in square brackets" in text


def test_of_two_names_the_longer_one_is_replaced() -> None:
    """``塔 12`` is not the site ``塔 1`` with a 2 behind it."""
    fonts = Fonts("塔", ())
    assert spelled("塔 12 and 塔 1", {"塔 1": "one", "塔 12": "twelve"}, fonts) == "[twelve] and [one]"
    assert spelled("北京塔 and more", {}, Fonts("北京塔", ())) == "[Han: no font] and more"


def test_fonts_are_found_in_folders_and_nothing_else_is_taken_for_one(tmp_path: Path) -> None:
    """A font in a sub-folder is found, also as soon as it is there; a text called .ttf and an empty file are not."""
    (tmp_path / "deep").mkdir()
    (tmp_path / "text.ttf").write_text("no font")
    (tmp_path / "empty.otf").touch()
    greek = "Ω"
    assert list(Fonts(f"{greek}北", [tmp_path]).without) == ["北"]
    (tmp_path / "deep" / "copy.ttf").write_bytes(built_in().path.read_bytes())
    found = Fonts("𝖠北", [tmp_path])  # DejaVu's bold lacks it, its plain one has it
    assert [file.path.name for file in found.used] == ["copy.ttf"]
    assert list(found.without) == ["北"]
    assert Path.home() / ".fonts" in folders()


LETTERS = {
    "Han": "北京东方明珠塔山",
    "Hangul": "서울남산타워부산",
    "Thai": "กขคงทบปพมรลวสหอเแโไ",
    "Devanagari": "कखगतदनपबमरलसह",
    "Arabic": "ابتثجحخدرسشعغفقكلمنهوي",
    "Hebrew": "אבגדהוזחטיכלמנסעפצקרשת",
    "Latin": "ABCxyzäøß012-.",
    "Cyrillic": "АБВгдеё",
    "of no font": "\U00013000\U00012000\U0001f4e1\uf8ff",
}
MARKS = {"Thai": "\u0e34\u0e48\u0e49\u0e31", "Devanagari": "\u093e\u093f\u0940\u094d\u0941", "Hebrew": "\u05b8\u05bc"}


@st.composite
def words(draw: st.DrawFn) -> str:
    """A word of one script, with its marks."""
    script = draw(st.sampled_from(sorted(LETTERS)))
    letter = st.sampled_from(LETTERS[script])
    marks = st.sampled_from(["", "", *MARKS.get(script, "")])
    return "".join(draw(letter) + draw(marks) for _ in range(draw(st.integers(1, 9))))


NAMES_DRAWN = st.lists(st.lists(words(), min_size=1, max_size=4).map(" ".join), min_size=12, max_size=12, unique=True)


@given(names=NAMES_DRAWN)
@settings(
    max_examples=3,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_every_name_is_whole_or_its_id_with_the_statement(paper_fonts: None, tmp_path: Path, names: list[str]) -> None:
    """Names of all scripts, mixed: each is in the text as it was typed, or its id is, with which font is missing."""
    ids = {name: f"site-{number}" for number, name in enumerate(names)}
    rows = "".join(f"<p>row {ids[name]} is {name}: 14.5 µs end</p>" for name in names)
    text = bare(text_of(pdf(Printed(rows, "foot", names=ids), paper="a4"), tmp_path, "-raw"))
    fonts = Fonts("".join(names))
    for name in names:
        said = name if fonts.prints(name) else f"[{ids[name]}]"
        assert f"row{ids[name]}is{bare(said)}:14.5µsend" in text
    assert ("Nofonthere" in text) == (not all(map(fonts.prints, names)))
