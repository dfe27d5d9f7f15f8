"""The loss command: its document, its table, its refusals."""

import json

import pytest

from sfn.cli import main


def answer(arguments: str, capsys: pytest.CaptureFixture[str]) -> dict[str, object]:
    """The document that the command prints."""
    assert 0 == main(["loss", *arguments.split(), "--json"])
    document: dict[str, object] = json.loads(capsys.readouterr().out)
    return document


def test_column_parity_under_bursts(capsys: pytest.CaptureFixture[str]) -> None:
    """1e-3 in bursts of 4 against columns 10 x 10: the closed form, and its wait of 100 packets."""
    ours = answer("--loss-pct 0.1 --burst-packets 4 --packet-ms 1 --parity column --columns 10 --rows 10", capsys)

    assert "exact" == ours["residual_kind"]
    assert 1.1232e-4 == pytest.approx(ours["residual_loss_ratio"], abs=1e-8)
    assert 100_000 == ours["wait_us"]
    assert 1.1 == ours["packet_rate_factor"]


def test_second_path_has_its_own_model(capsys: pytest.CaptureFixture[str]) -> None:
    """Loss ratios of the paths multiply; packets are sent twice."""
    ours = answer("--loss-pct 0.1 --second-loss-pct 2 --packet-ms 1 --second-path", capsys)

    assert 2e-5 == pytest.approx(ours["residual_loss_ratio"], rel=1e-9)
    assert 2.0 == ours["packet_rate_factor"]


def test_every_key_is_described_in_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    """No key is printed that ``--help`` does not speak of."""
    keys = list(answer("--loss-pct 1 --packet-ms 4 --compare --blocks 5000", capsys))
    with pytest.raises(SystemExit):
        main(["loss", "--help"])
    text = " ".join(capsys.readouterr().out.split())

    assert [] == [key for key in keys if f"`{key}`" not in text]


def test_the_comparison_orders_rows_below_columns(capsys: pytest.CaptureFixture[str]) -> None:
    """Against bursts rows do almost nothing, columns more, a second path most; the table says so."""
    assert 0 == main("loss --loss-pct 0.1 --burst-packets 4 --packet-ms 1/3 --compare --blocks 20000".split())
    out = capsys.readouterr().out

    assert "loss 0.001, bursts of 4 packets on average" in out
    assert "rows of 10" in out
    assert "second path" in out


def test_a_residual_too_rare_is_less_than(capsys: pytest.CaptureFixture[str]) -> None:
    """Few blocks of a rare loss give an upper limit with its sign, never an invented figure."""
    arguments = "--loss-pct 0.0001 --burst-packets 2 --packet-ms 1 --parity both --columns 20 --rows 5 --blocks 1000"
    ours = answer(arguments, capsys)

    assert "less than" == ours["residual_kind"]
    assert 0.0 == ours["residual_low_ratio"]
    assert 0 == main(["loss", *arguments.split()])
    assert "< " in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ("--packet-ms 1", "--loss-pct must be given"),
        ("--loss-pct 101 --packet-ms 1", "good_loss_probability must be from 0 to 1 (a probability), got 1.01"),
        ("--loss-pct 0.1 --packet-ms 0", "--packet-ms must be above 0 to 1000 ms, got 0"),
        ("--loss-pct 0.1 --burst-packets 0 --packet-ms 1", "mean_burst_packets must be from 1"),
        ("--loss-pct 0.1 --packet-ms 1 --blocks 1 --parity row --columns 5", "block_n must be from 1000"),
    ],
)
def test_what_cannot_be_worked_out_exits_two(arguments: str, text: str, capsys: pytest.CaptureFixture[str]) -> None:
    """One line on stderr, exit 2."""
    assert 2 == main(["loss", *arguments.split()])
    assert text in capsys.readouterr().err
