"""One word for one state: on air, not transmitting; muted is an act, off air is how a relay hears its parent.

The rule stands in the guide (`webapp/guide/7_words.md`). Sentences are those of the engine, the pages and the commands,
docstrings too; keys, codes, event kinds and addresses have no spaces and are left alone.
"""

import ast
import json
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.shell.tabs import GROUPS
from webapp.store.store import Store

TOP = Path(__file__).parents[2]
DEMOS = ("fm_ridge", "dab_plain", "dvbt2_chain")
# What nobody says of a site, and "off air" without somebody who receives, feeds or hears, or a channel that does.
HEARD = r"(?:(?:fed|feeds?|feed|receiv\w+|hears?|heard|hops|signals?|channel)(?: \S+){0,8}|reference,) $"
SAYS = re.compile(r"\boff the air\b|\bon the air\b|(?<!\.)\bsilen[a-z]+\b|\bnot on air\b|\boff air\b", re.I)
ALLOWED = {  # file: words, why they may stand
    "webapp/store/job_records.py": ("silence it counts as gone", "a process"),
    "webapp/config/limits.py": ("slow, not silent", "a telephone"),
    "webapp/shell/form_names.py": ("lost in silence", "nobody is told"),
    "webapp/shell/json_bodies.py": ("silently drop", "nobody is told"),
    "sfn/cli/idle.py": ("in silence", "nobody is told"),
    "sfn/survey/readings.py": ("corrected silently", "nobody is told"),
    "sfn/country/fetch.py": ("server fell silent", "a server"),
    "sfn/geodesy/kernels.py": ("silent\ndivision", "numpy's division"),
    "sfn/solve/scene.py": ("silent : frozenset", "a field's name"),
    "sfn/study/heard.py": ("is silent", "sound of a file"),
    "sfn/survey/agreement.py": ("marker may be silent", "sound of a marker"),
    "sfn/survey/arrivals/iq.py": ("silent", "samples of a recording"),
    "sfn/survey/recording.py": ("silen", "sound of a file"),
    "sfn/survey/verdict.py": ("is silent", "sound of a recording"),
    "sfn/systems/fm_audio.py": ("silen", "sound of a programme"),
    "sfn/stream/failures.py": ("off air", "a code that scripts read; people read STATE_WORDS"),
    "sfn/study/lever_says.py": ("off air: whether it still hears", "a relay, named before"),
    "webapp/guide/7_words.md": ("| off air |", "the rule itself"),
    "sfn/cli/correlate.py": ("off air", "the channel that was received"),
    "templates/prove/recording.html": ("Off air", "the channel that was received"),
}


def sentences(file: Path) -> Iterator[str]:
    """Texts of a file that hold more than one word: literals of Python, whole lines of the others."""
    text = file.read_text(encoding="utf-8")
    if file.suffix != ".py":
        # An expression of a template compares codes ("off-air"); scripts have names of variables.
        yield from re.sub(r'class="[^"]*"|\{#.*?#\}', "", text).splitlines()
        return
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(one.value) if isinstance(one, ast.Constant) else "X" for one in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and " " in node.value.strip():
            yield node.value


def faults(said: str) -> Iterator[str]:
    """Words against the rule in a text, with what stands around them."""
    for found in SAYS.finditer(said):
        before = " ".join(said[max(0, found.start() - 90) : found.start()].split()) + " "
        if found[0].lower() == "off air" and re.search(HEARD, before, re.I):
            continue
        yield said[max(0, found.start() - 40) : found.end() + 40]


class Words(HTMLParser):
    """What a page says to people: text outside scripts and styles."""

    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []
        self.inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Titles and labels are read out too."""
        self.inside = tag
        self.said += [value for name, value in attrs if name in ("title", "aria-label", "alt") and value]

    def handle_endtag(self, tag: str) -> None:
        """A script ends."""
        self.inside = ""

    def handle_data(self, data: str) -> None:
        """Text of an element."""
        if self.inside not in ("script", "style"):
            self.said += data.split()


def files() -> list[Path]:
    """Whatever holds words that people read."""
    ends = {".py", ".html", ".js", ".md", ".toml"}
    found = [one for top in ("sfn", "webapp", "templates") for one in sorted((TOP / top).rglob("*"))]
    return [one for one in found if one.suffix in ends] + [TOP / "README.md", TOP / "DEVELOPERS.md"]


def test_sentences_keep_to_the_rule() -> None:
    """No other word for a site that is not transmitting, in any sentence of ours; exceptions are named and needed."""
    wrong, used = [], set()
    for file in files():
        name = str(file.relative_to(TOP))
        allowed = ALLOWED.get(name, ("", ""))[0]
        for said in sentences(file):
            for fault in faults(said):
                if allowed and allowed in fault:
                    used.add(name)
                else:
                    wrong.append(f"{name}: {fault}")
    assert wrong == []
    assert used == set(ALLOWED)


@pytest.mark.parametrize("said", ["South ridge is off the air", "a silent site", "sites off air", "it is not on air"])
def test_the_rule_bites(said: str) -> None:
    """A sentence as they were is found."""
    assert list(faults(said)) == [said]


@pytest.mark.parametrize("said", ["Gap is fed off air from North ridge", "what receives it off air", "on air"])
def test_the_rule_lets_pass_what_is_received(said: str) -> None:
    """Off air is how a relay hears its parent."""
    assert list(faults(said)) == []


@pytest.mark.parametrize("demo", DEMOS)
def test_pages_keep_to_the_rule(demo: str, client: TestClient, store: Store) -> None:
    """Every page of the navigation, with a site that is not transmitting, and that state is said where sites are."""
    document: dict[str, Any] = json.loads((TOP / "demo_sites" / f"{demo}.json").read_text(encoding="utf-8"))
    parents = {site.get("fed_off_air_from") for site in document["sites"]}
    stopped = next(site for site in document["sites"][1:] if site["id"] not in parents)
    stopped["on_air"] = False
    number = store.create(document, author="AE", reason="one stopped").network_id
    said_n = 0
    pages = [client.get(f"/networks/{number}"), client.get(f"/networks/{number}/sites/{stopped['id']}")]
    menu = set(re.findall(rf'href="(/networks/{number}/[a-z-]+)"', pages[0].text))
    assert len(menu) >= sum(len(group.tabs) for group in GROUPS) - 3, "a page needs a site or a place"
    pages += [client.get(address) for address in sorted(menu)]
    for page in pages:
        assert page.status_code == 200, page.url
        words = Words()
        words.feed(page.text)
        text = " ".join(words.said)
        assert list(faults(text)) == [], page.url
        said_n += "not transmitting" in text
    assert said_n >= 3


def test_german_has_one_word_for_each() -> None:
    """On air: auf Sendung; not transmitting: sendet nicht; to mute: stummschalten. Keys of the catalogue are English."""
    text = (TOP / "webapp" / "languages" / "de.po").read_text(encoding="utf-8")
    pairs = re.findall(r'^msgid "(.+)"\nmsgstr "(.+)"$', text, re.M)
    assert len(pairs) > 700
    for english, german in pairs:
        for word, wanted in (
            (r"\bmut(?:e|es|ed|ing)\b", r"stumm\S*schalte|stummschalten|Schalten Sie .* stumm|schaltet was stumm"),
            (r"\bon air\b", r"auf Sendung"),
            (r"\bnot transmitting\b", r"sendet nicht|senden nicht|nicht sendet"),
        ):
            assert bool(re.search(word, english)) <= bool(re.search(wanted, german, re.I)), (english, german)
        assert not re.search(r"\bStille|\bStillstand|stillgelegt|außer Betrieb|abgeschaltet|vom Netz", german), german
