"""A network under a file of services of the user's own: figures, checksum, copies, and commands."""

import hashlib
import json
import re
from pathlib import Path

import pytest

from sfn.cli import OWN_SERVICES, main
from sfn.errors import PlanError
from sfn.plan import checksum, read, written
from sfn.systems.of_network import service_of, stamped_checksum

ROOT = Path(__file__).parents[3]
EXAMPLE = (ROOT / "tests" / "sfn" / "example-network.json").read_text(encoding="utf-8")
OWN = """
format = 1
[[service]]
id = "fm-stereo"
copy_of = "fm-stereo"
tolerance_us = 7
"""


def test_the_file_goes_with_the_record_and_is_no_key_of_it() -> None:
    """Copies keep it, documents never show it, and records under different files are not equal."""
    plain, ours = read(EXAMPLE), read(EXAMPLE, own_services=OWN)

    assert service_of(ours).tolerance_us == 7.0
    assert service_of(plain).tolerance_us == service_of(ours.under("")).tolerance_us != 7.0
    assert service_of(ours.model_copy(update={"sites": ours.sites[:1]})).tolerance_us == 7.0
    assert ours != plain
    assert ours.under("") == plain
    assert written(ours) == written(plain)
    with pytest.raises(PlanError, match="own_services: is not a key"):
        read(json.dumps(json.loads(EXAMPLE) | {"own_services": OWN}))


def test_the_checksum_tells_figures_apart_and_nothing_else() -> None:
    """Other figures of another service, or the same figures again, leave the document's own."""
    plain = read(EXAMPLE)
    ours, of_other = plain.under(OWN), plain.under(OWN.replace('id = "fm-stereo"', 'id = "my-fm"'))
    same = plain.under(OWN.replace("tolerance_us = 7\n", ""))

    assert stamped_checksum(plain) == checksum(plain) == stamped_checksum(of_other) == stamped_checksum(same)
    assert stamped_checksum(ours) != checksum(plain)
    assert stamped_checksum(ours) != stamped_checksum(plain.under(OWN.replace("= 7", "= 8")))
    # as anybody can work it out: the document's, and every figure of the service behind it
    said = f"{checksum(plain)}{service_of(ours)!r}"
    assert stamped_checksum(ours) == hashlib.sha256(said.encode()).hexdigest()[:8]


def test_a_command_prints_the_checksum_of_its_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """And nothing is left behind for the next; a file that is named and not there is refused by name."""
    network, mine = tmp_path / "n.json", tmp_path / "mine.toml"
    network.write_text(EXAMPLE, encoding="utf-8")
    mine.write_text(OWN, encoding="utf-8")
    printed = []
    for named in (None, mine, None):
        monkeypatch.delenv(OWN_SERVICES, raising=False)
        if named:
            monkeypatch.setenv(OWN_SERVICES, str(named))
        assert main(["delays", str(network), "--json"]) == 0
        printed.append(json.loads(capsys.readouterr().out)["checksum"])
    plain = read(EXAMPLE)

    assert printed == [checksum(plain), stamped_checksum(plain.under(OWN)), checksum(plain)]
    monkeypatch.setenv(OWN_SERVICES, str(tmp_path / "gone.toml"))
    assert main(["delays", str(network)]) == 2
    assert "gone.toml: cannot read it" in capsys.readouterr().err


@pytest.mark.parametrize("path", sorted((ROOT / "sfn" / "cli").glob("*.py")), ids=lambda p: p.stem)
def test_every_command_reads_its_network_under_the_file(path: Path) -> None:
    """No command forgets it."""
    calls = re.findall(r"read_file\(.*", path.read_text(encoding="utf-8"))
    assert all("own_services=args.own_services" in call for call in calls)


def test_nothing_asks_for_a_networks_service_without_its_file() -> None:
    """`service_of` is the one way."""
    for top in ("sfn", "webapp"):
        for path in (ROOT / top).rglob("*.py"):
            calls = re.findall(r"(?<![\w.])service\([^)]*network\.service[^)]*\)", path.read_text(encoding="utf-8"))
            assert all("own_services=" in call for call in calls), path
