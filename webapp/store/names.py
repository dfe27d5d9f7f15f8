"""What a user may be called."""

import unicodedata

from sfn.errors import Problem
from sfn.visible import UNDRAWN
from webapp.config.limits import LONGEST_PERSON_N


def name_problems(name: str) -> list[Problem]:
    """Why nobody can be called so: none, too long, with characters that nobody sees, or of letters that look alike."""
    if not name or len(name) > LONGEST_PERSON_N or not name.isprintable():
        expected = f"1 to {LONGEST_PERSON_N} characters"
        return [Problem("name", f"cannot be {name[:40]!r}", expected, code="user-name", fields=("name",))]
    if unseen := [f"U+{ord(one):04X}" for one in name if one in UNDRAWN]:
        what = f"{name[:40]!r} has characters that nobody sees: {', '.join(dict.fromkeys(unseen))}"
        return [Problem("name", what, "letters that are drawn", code="user-name-unseen", fields=("name",))]
    if mixed := _mixed(name):
        what = f"{mixed!r} mixes letters of two alphabets that look alike"
        return [Problem("name", what, "one alphabet a word", code="user-name-mixed", fields=("name",))]
    return []


_ALIKE = ("LATIN", "CYRILLIC", "GREEK", "ARMENIAN", "CHEROKEE")


def _mixed(name: str) -> str:
    """The first word whose letters are of more than one alphabet of those that look alike; empty where none is."""
    for word in name.split():
        if (
            len(
                {
                    alphabet
                    for letter in word
                    for alphabet in _ALIKE
                    if unicodedata.name(letter, "").startswith(alphabet)
                }
            )
            > 1
        ):
            return word
    return ""
