"""Names of any script in pictures: set in a font that has them, or said in words; never an empty box.

matplotlib warns of every letter that it draws as a box, and warnings are errors here.
"""

import io
from collections.abc import Iterator

import pytest
from matplotlib.figure import Figure

from sfn.report import letters
from webapp.paper.fonts import Fonts

NAMES = (
    "北山中継局",
    "富士山 とうきょう",
    "남산타워",
    "محطة الجبل",
    "हिन्दी क्षत्रिय",
    "תל אביב",
    "አዲስ አበባ",
    "Αθήνα",
    "Tower 🗼",
)


@pytest.fixture
def no_fonts(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A machine with DejaVu alone."""
    monkeypatch.setattr(letters, "_files", lambda: ())
    letters._fonts_for.cache_clear()
    yield
    letters._fonts_for.cache_clear()


def drawn(name: str, family: str) -> tuple[str, bool, bytes]:
    """A name in a picture: the text as it stands there, whether it is in words, and the picture."""
    figure, out = Figure(figsize=(5, 1)), io.BytesIO()
    text = figure.text(0.05, 0.4, name, family=family)
    in_words = letters.set_in_fonts(figure)
    figure.savefig(out, format="png")
    return text.get_text(), in_words, out.getvalue()


@pytest.mark.parametrize("family", ["sans-serif", "serif"])
@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_set_where_a_font_has_it(name: str, family: str) -> None:
    """As the PDF of a sheet, which looks through the machine's fonts by itself, can print it."""
    said, in_words, _ = drawn(name, family)
    assert in_words == (not Fonts(name).prints(name))
    assert (said == name) == (not in_words)


@pytest.mark.usefixtures("no_fonts")
@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("北山 relay", "[2 CJK letters] relay"),
        ("남산타워", "[4 Hangul letters]"),
        ("Tower 🗼", "Tower [tokyo tower]"),
        ("x\U000f1234", "x[U+F1234]"),
        ("Αθήνα, Łódź", "Αθήνα, Łódź"),
    ],
)
def test_what_no_font_has_stands_in_words(name: str, said: str) -> None:
    """By the script's or the sign's name in Unicode, in brackets that the picture explains."""
    assert drawn(name, "serif")[:2] == (said, said != name)


def test_scripts_whose_letters_join_are_not_set_loose(monkeypatch: pytest.MonkeyPatch) -> None:
    """A matplotlib before 3.11 sets letters one by one, from the left: such a name is in words."""
    monkeypatch.setattr(letters, "_shapes", lambda: False)
    letters._fonts_for.cache_clear()
    assert drawn("محطة", "sans-serif")[0] == "[4 Arabic letters]"
    assert drawn("Αθήνα", "sans-serif")[0] == "Αθήνα"
    letters._fonts_for.cache_clear()
