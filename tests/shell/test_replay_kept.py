"""Results kept line by line: a torn line, a foreign one, other settings, a full disk; and many passages over processes and a cluster."""

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from operator import neg
from pathlib import Path

import pytest

from watch.faults import BadInputError
from watch.service.replay.keep import open_kept
from watch.service.replay.many import over_cores, over_dask
from watch.service.replay.results import Result
from watch.service.replay.tally import NOTHING

ROOT = Path(__file__).resolve().parents[2]
KEY = {"boat": "Kittiwake", "delay": 5.0}
ONE, TWO = (Result(name=name, tallies={"never": replace(NOTHING, hours=24.0, hard_hours=h)}) for name, h in (("1", 0.5), ("2", 1 / 3)))


def kept_file(path: Path, *results: Result) -> Path:
    kept, before = open_kept(path, KEY)
    assert before == []
    for result in results:
        kept.append(result)
    return path


def test_what_was_kept_comes_back_to_the_last_digit(tmp_path: Path) -> None:
    path = kept_file(tmp_path / "kept.jsonl", ONE, TWO)
    assert open_kept(path, KEY)[1] == [ONE, TWO]


@pytest.mark.parametrize("cut", [1, 2, 20, 100])
def test_a_torn_last_line_is_dropped_and_the_file_goes_on(tmp_path: Path, cut: int) -> None:
    path = kept_file(tmp_path / "kept.jsonl", ONE, TWO)
    path.write_bytes(path.read_bytes()[:-cut])
    kept, before = open_kept(path, KEY)
    assert before == [ONE]
    kept.append(TWO)
    assert open_kept(path, KEY)[1] == [ONE, TWO]


def test_a_passage_kept_twice_counts_once(tmp_path: Path) -> None:
    path = kept_file(tmp_path / "kept.jsonl", ONE, TWO, ONE)
    assert open_kept(path, KEY)[1] == [ONE, TWO]


def _spoil(line: str, how: str) -> str:
    found = json.loads(line)
    if how == "no number":
        found["policies"]["never"]["hours"] = None
    elif how == "a number too few":
        del found["policies"]["never"]["wakes"]
    elif how == "no passage":
        del found["passage"]
    else:
        return how
    return json.dumps(found)


@pytest.mark.parametrize("how", ["not json", "[]", "no number", "a number too few", "no passage", ""])
def test_any_other_line_that_is_no_result_is_named(tmp_path: Path, how: str) -> None:
    path = kept_file(tmp_path / "kept.jsonl", ONE, TWO)
    first, second = path.read_text(encoding="utf-8").splitlines()
    path.write_text(f"{first}\n{_spoil(second, how)}\n{first}\n", encoding="utf-8")
    before = path.read_bytes()
    with pytest.raises(BadInputError, match=r"kept\.jsonl line 2: not a kept result; take the line out"):
        open_kept(path, KEY)
    assert path.read_bytes() == before


def test_results_of_other_settings_are_not_mixed_in(tmp_path: Path) -> None:
    path = kept_file(tmp_path / "kept.jsonl", ONE)
    with pytest.raises(BadInputError, match="line 1: a result of another boat, other weather or other settings"):
        open_kept(path, {**KEY, "delay": 6.0})


def test_another_kind_of_file_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "picture.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\n\xff\xfe")
    with pytest.raises(BadInputError, match="not a file of kept results"):
        open_kept(path, KEY)
    assert path.read_bytes() == b"\x89PNG\r\n\x1a\n\xff\xfe"


def test_a_file_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    kept, _ = open_kept(tmp_path / "no such folder" / "kept.jsonl", KEY)
    with pytest.raises(BadInputError, match=r"cannot be written .* give another file with --keep"):
        kept.append(ONE)
    with pytest.raises(BadInputError, match="cannot be read or written"):
        open_kept(tmp_path, KEY)


@pytest.mark.parametrize("workers", [1, 2])
def test_all_are_done_once_whatever_the_number_of_processes(workers: int) -> None:
    assert sorted(over_cores(neg, list(range(6)), workers)) == [-5, -4, -3, -2, -1, 0]


def test_what_goes_wrong_in_a_process_comes_out_of_it() -> None:
    with pytest.raises(TypeError):
        list(over_cores(neg, ["a", "b"], 2))  # type: ignore[arg-type]


def test_a_process_that_is_killed_is_said() -> None:
    with pytest.raises(BadInputError, match="--workers: a process was killed"):
        list(over_cores(os._exit, [1, 1], 2))


def test_without_dask_it_is_said_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(BadInputError, match=r"--dask: Dask is not installed; install nightorders\[replay\]"):
        list(over_dask(neg, [1], "here"))


def test_the_same_over_a_cluster_and_a_missing_cluster_is_said() -> None:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None) as cluster:
        assert sorted(over_dask(neg, list(range(6)), cluster.scheduler_address)) == [-5, -4, -3, -2, -1, 0]
    with pytest.raises(BadInputError, match=r"--dask: no cluster answers at nowhere"):
        list(over_dask(neg, [1], "nowhere"))


def test_ctrl_c_keeps_what_is_done_leaves_no_process_and_the_same_command_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "kept.jsonl"
    command = [sys.executable, "-m", "watch.cli", "replay", "--storms", "400", "--policy", "never", "--workers", "2", "--keep", str(path)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True) as running:
        until = time.monotonic() + 60.0
        while time.monotonic() < until and not (path.exists() and path.read_bytes().count(b"\n") >= 2):
            time.sleep(0.05)
        os.killpg(running.pid, signal.SIGINT)  # as a terminal does: to the whole group
        out, err = running.communicate(timeout=60)
    assert running.returncode == 130, err
    assert "Traceback" not in err
    done = path.read_text(encoding="utf-8").count("\n")
    assert f"Stopped: {done} of 400 passages are done; the same command goes on from there" in err
    assert f"{done} passages" in out
    until = time.monotonic() + 20.0
    while _any_left(running.pid) and time.monotonic() < until:
        time.sleep(0.1)
    assert not _any_left(running.pid)


def _any_left(group: int) -> bool:
    """Whether any process of a group is still there."""
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True
