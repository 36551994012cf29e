"""The home of the watch: which folder it is, and what is said when it cannot be."""

from pathlib import Path

import pytest

from watch.faults import BadInputError
from watch.service.home import book_of, home_of


def test_the_option_comes_before_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NIGHTORDERS_HOME", str(tmp_path / "by environment"))
    assert home_of(tmp_path / "by option") == tmp_path / "by option"
    assert home_of(None) == tmp_path / "by environment"
    assert (tmp_path / "by environment").is_dir()
    assert book_of(home_of(None)).name == "watch.db"


def test_without_either_it_is_in_the_users_own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NIGHTORDERS_HOME", raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    assert home_of(None) == tmp_path / ".local" / "share" / "nightorders"


def test_an_empty_variable_is_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NIGHTORDERS_HOME", "")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert home_of(None).parent.name == "share"


def test_it_is_for_the_sailor_alone(tmp_path: Path) -> None:
    assert home_of(tmp_path / "new").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("below", ["", "deeper"])
def test_a_file_in_its_place_is_said(tmp_path: Path, below: str) -> None:
    (tmp_path / "notes").write_text("not a folder")
    with pytest.raises(BadInputError, match=r"--home: .*notes.* cannot be used: a file stands there; name a folder of your own with --home"):
        home_of(tmp_path / "notes" / below)
