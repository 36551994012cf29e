"""The settings of the page and its passphrases: what is refused, in one sentence, and where a passphrase ends up."""

import os
import stat
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from watch.cli import main
from watch.faults import BadInputError
from watch.ready import ready
from watch.service.page_config import PageConfig, load_access, read_page_config
from watch.service.web_access import Right, matches

PHRASE, OTHER = "four words at sea", "quite another phrase"


def settings(folder: Path, *lines: str) -> Path:
    path = folder / "watch.toml"
    path.write_text("\n".join(["[page]", *lines, "", "[alerts]", "flicker_min = 30"]), encoding="utf-8")
    return path


def make(path: Path | None, phrase: str, *more: str, again: str | None = None) -> Result:
    given = [] if path is None else ["--settings", str(path)]
    return CliRunner().invoke(main, ["passphrase", *given, *more], input=f"{phrase}\n{again or phrase}\n")


def test_without_settings_of_its_own_it_is_only_for_this_computer(tmp_path: Path) -> None:
    path = tmp_path / "watch.toml"
    path.write_text("[alerts]\n", encoding="utf-8")
    assert read_page_config(path) == PageConfig()
    access = load_access(path)
    assert access.is_loopback
    assert access.most is Right.ACKNOWLEDGE
    assert load_access(ready("config", "watch.toml")) == access, "the example settings are the defaults"


@pytest.mark.parametrize("address", ["0.0.0.0", "192.168.1.20", "::", "kittiwake.local"])
def test_the_boats_network_without_a_passphrase_is_refused_in_one_sentence(address: str, tmp_path: Path) -> None:
    path = settings(tmp_path, f'address = "{address}"')
    with pytest.raises(BadInputError) as caught:
        load_access(path)
    assert str(caught.value) == (
        f'{path} page.address = "{address}": would let everybody on the network in: set page.passphrase_file and make one with: '
        "nightorders passphrase; or write 127.0.0.1"
    )


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ('port = "8470"', 'page.port = "8470": a port number, 1024 to 65535, like 8470'),
        ("port = 80", "page.port = 80: a port number, 1024 to 65535, like 8470"),
        ('adress = "::1"', "page.adress: not a key known here; is `address` meant?"),
        ('address = "a b"', 'page.address = "a b": the address to listen at, like "127.0.0.1"'),
        ('allow_ack = "no"', 'page.allow_ack = "no": false when alerts are only shown on the page, never acknowledged there'),
    ],
)
def test_each_fault_has_its_place_and_a_good_value(line: str, sentence: str, tmp_path: Path) -> None:
    path = settings(tmp_path, line)
    with pytest.raises(BadInputError) as caught:
        load_access(path)
    assert str(caught.value) == f"{path} {sentence}"


def test_page_that_is_no_table_is_said(tmp_path: Path) -> None:
    path = tmp_path / "watch.toml"
    path.write_text("page = 8470\n", encoding="utf-8")
    with pytest.raises(BadInputError, match="page = 8470: a table: write \\[page\\] on a line of its own"):
        load_access(path)


def test_a_passphrase_is_kept_as_a_hash_that_nobody_else_may_read(tmp_path: Path) -> None:
    path = settings(tmp_path, 'address = "0.0.0.0"', 'passphrase_file = "own/page.toml"', 'names = ["kittiwake.local"]')
    kept = tmp_path / "own" / "page.toml"
    before = os.umask(0)
    try:
        result = make(path, PHRASE)
    finally:
        os.umask(before)
    assert result.exit_code == 0, result.output
    assert PHRASE not in result.output
    assert PHRASE not in kept.read_text(encoding="utf-8")
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert stat.S_IMODE(kept.parent.stat().st_mode) == 0o700
    assert make(path, OTHER, "--reading").exit_code == 0
    access = load_access(path)
    assert access.right_of(PHRASE) is Right.ACKNOWLEDGE
    assert access.right_of(OTHER) is Right.READ
    assert access.right_of("neither of the two") is Right.NONE
    assert access.knows_host("kittiwake.local:8470")
    assert sorted(f.name for f in kept.parent.iterdir()) == ["page.toml"], "nothing half-written is left"


def test_a_new_passphrase_takes_the_place_of_the_old_and_leaves_the_other(tmp_path: Path) -> None:
    path = settings(tmp_path, 'passphrase_file = "page.toml"')
    make(path, PHRASE)
    make(path, OTHER, "--reading")
    make(path, "a third one altogether")
    access = load_access(path)
    assert [access.right_of(p) for p in (PHRASE, OTHER, "a third one altogether")] == [Right.NONE, Right.READ, Right.ACKNOWLEDGE]


def test_one_passphrase_for_both_rights_is_refused(tmp_path: Path) -> None:
    path = settings(tmp_path, 'passphrase_file = "page.toml"')
    make(path, PHRASE)
    result = make(path, PHRASE, "--reading")
    assert result.exit_code == 2
    assert result.output.endswith("the passphrase: is the one to acknowledge with; take another, or the two rights are one\n")


def test_acknowledging_can_be_left_out_altogether(tmp_path: Path) -> None:
    path = settings(tmp_path, "allow_ack = false", 'passphrase_file = "page.toml"')
    make(path, PHRASE)
    assert load_access(path).right_of(PHRASE) is Right.READ
    assert load_access(settings(tmp_path, "allow_ack = false")).most is Right.READ


def test_two_that_differ_are_asked_again_and_a_short_one_is_refused(tmp_path: Path) -> None:
    path = settings(tmp_path, 'passphrase_file = "page.toml"')
    result = make(path, PHRASE, again=OTHER)
    assert result.exit_code == 1
    assert "do not match" in result.output
    short = make(path, "short")
    assert short.exit_code == 2
    assert "the passphrase: a passphrase needs at least 10 letters; take four words" in short.output
    assert not (tmp_path / "page.toml").exists()


def test_without_settings_the_line_is_printed() -> None:
    result = make(None, PHRASE)
    assert result.exit_code == 0
    name, _, kept = result.stdout.strip().partition(" = ")
    assert name == "acknowledge"
    assert matches(PHRASE, kept.strip('"'))


def test_a_file_of_hashes_that_others_may_read_or_that_is_no_such_file_is_refused(tmp_path: Path) -> None:
    path = settings(tmp_path, 'passphrase_file = "page.toml"')
    with pytest.raises(BadInputError, match="no such file of secrets; make one with: nightorders passphrase"):
        load_access(path)
    make(path, PHRASE)
    kept = tmp_path / "page.toml"
    kept.chmod(0o644)
    with pytest.raises(BadInputError, match=r"others on this machine can get at these secrets .* run chmod 600"):
        load_access(path)
    kept.chmod(0o600)
    kept.write_text('read = "plain"\n', encoding="utf-8")
    with pytest.raises(BadInputError, match="is no hash of a passphrase"):
        load_access(path)
    kept.write_text('raed = "scrypt"\n', encoding="utf-8")
    with pytest.raises(BadInputError, match="raed: not a key known here: read or acknowledge"):
        load_access(path)
