"""The holdover command: one clock, several sites, refusals."""

import json

import pytest

from sfn.cli import main


def answer(arguments: str, capsys: pytest.CaptureFixture[str]) -> dict[str, object]:
    """The document that the command prints."""
    assert 0 == main(["holdover", *arguments.split(), "--json"])
    document: dict[str, object] = json.loads(capsys.readouterr().out)
    return document


def test_own_figures_with_their_signs(capsys: pytest.CaptureFixture[str]) -> None:
    """2e-10 against -5e-10 a day: 5 us only after 24.616 h, on the way back."""
    ours = answer("--limit-us 5 --frequency-offset 2e-10 --ageing-per-day=-5e-10", capsys)

    assert 24.616 == pytest.approx(ours["time_to_limit_h"], abs=1e-3)
    assert ours["note"] is None


def test_a_class_says_that_it_is_typical(capsys: pytest.CaptureFixture[str]) -> None:
    """An ordinary oven crystal: 1e-10 and 5e-10 a day, 1 us after 2.250 h, marked as typical."""
    ours = answer("--limit-us 1 --oscillator ocxo --reaction-h 1", capsys)

    assert 2.25 == pytest.approx(ours["time_to_limit_h"], abs=1e-3)
    assert "typical, verify on your data sheet" == ours["note"]
    assert ["reference lost", "leave now", "limit"] == [a["name"] for a in ours["alarms"]]  # type: ignore[attr-defined]


def test_sites_and_pairs(capsys: pytest.CaptureFixture[str]) -> None:
    """Three sites, three pairs; a locked site never gets there alone."""
    ours = answer("--limit-us 1 --site a:ocxo --site b:rubidium --site c:locked", capsys)
    sites = {s["id"]: s["time_to_limit_h"] for s in ours["sites"]}  # type: ignore[attr-defined]
    pairs = {(p["a"], p["b"]): p for p in ours["pairs"]}  # type: ignore[attr-defined]

    assert sites["c"] is None
    assert {("a", "b"), ("a", "c"), ("b", "c")} == set(pairs)
    assert all(p["time_to_limit_h"] < p["rss_time_to_limit_h"] for p in pairs.values())


def test_every_key_is_described_in_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    """No key is printed that ``--help`` does not speak of."""
    keys = {*answer("--limit-us 1 --oscillator tcxo", capsys), *answer("--limit-us 1 --site a:ocxo", capsys)}
    with pytest.raises(SystemExit):
        main(["holdover", "--help"])
    text = " ".join(capsys.readouterr().out.split())

    assert [] == [key for key in sorted(keys) if f"`{key}`" not in text]


def test_tables(capsys: pytest.CaptureFixture[str]) -> None:
    """People get hours, and are told what is typical."""
    assert 0 == main("holdover --limit-us 1 --site a:ocxo --site c:locked --site d:locked".split())
    out = capsys.readouterr().out
    assert "never" in out
    assert "Figures of classes are typical, verify on your data sheet." in out
    assert 0 == main("holdover --limit-us 1 --oscillator caesium --good".split())
    assert "days" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ("--limit-us 0 --oscillator ocxo", "limit_us must be above 0 us, got 0.0"),
        ("--limit-us 1", "--oscillator or figures of an own clock must be given"),
        ("--limit-us 1 --oscillator quartz", "oscillator must be one of tcxo"),
        ("--limit-us 1 --oscillator ocxo --ageing-per-day 1e-9", "--oscillator must not be given together"),
        ("--limit-us 1 --site north", "--site must be ID:CLASS with each ID once, got 'north'"),
        ("--limit-us 1 --frequency-offset 1", "frequency_offset_ratio must be from -0.001"),
    ],
)
def test_what_cannot_be_worked_out_exits_two(arguments: str, text: str, capsys: pytest.CaptureFixture[str]) -> None:
    """One line on stderr, exit 2."""
    assert 2 == main(["holdover", *arguments.split()])
    assert text in capsys.readouterr().err


def test_terms_that_count_for_nothing_are_named(capsys) -> None:
    """An OCXO without temperatures holds far too long on paper: the table says what is missing, and then no more."""
    assert 0 == main("holdover --limit-us 5 --oscillator ocxo".split())
    out = capsys.readouterr().out
    assert "NOT COUNTED, so the true time is shorter" in out
    assert "the temperature of day and night" in out
    assert 0 == main("holdover --limit-us 5 --oscillator ocxo --swing-degc 10 --step-degc 5".split())
    assert "NOT COUNTED" not in capsys.readouterr().out
    assert 0 == main("holdover --limit-us 5 --site a:ocxo --site b:locked --json".split())
    assert 2 == len(json.loads(capsys.readouterr().out)["left_out"])


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ("--oscillator ocxo --site a:ocxo", "--oscillator must not be given together with --site"),
        ("--oscillator ocxo --locked-us 1", "--locked-us must not be given without"),
        ("--ageing-per-day 5e-10 --swing-degc 5", "--swing-degc must not be given without"),
        ("--ageing-per-day 5e-10 --good", "--good must not be given without"),
    ],
)
def test_options_that_would_do_nothing_are_refused(arguments: str, text: str, capsys) -> None:
    """By name, with what they need."""
    assert 2 == main(["holdover", "--limit-us", "5", *arguments.split()])
    assert text in capsys.readouterr().err
