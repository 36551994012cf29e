"""Encodings, checksums, older runs, disks and secrets: what comes is checked, what is there is never harmed."""

import base64
import gzip
import hashlib
import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.shell.shore import fetched, partly, path_of, plan_for, stock, wanted_bytes, whole
from tests.shell.wire import Wire, breaks_after, but, resets, says, wire
from watch.forecast.budget import Reason

FILE = path_of(3)
INDEX = FILE + ".idx"


@pytest.fixture
def shore() -> Iterator[Wire]:
    with wire() as state:
        stock(state, 3, 6, 9)
        yield state


def query_path(shore: Wire) -> str:
    return plan_for(shore, 3, layout="query").requests[0].url.removeprefix(shore.base)


def leftovers(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.rglob("*") if p.is_file() and not p.name.startswith(".plan-") and p.suffix != ".grib")


def test_a_query_may_come_packed(shore: Wire, tmp_path: Path) -> None:
    path = query_path(shore)
    shore.always[path] = says(200, gzip.compress(wanted_bytes(3)), Content_Encoding="gzip")
    assert whole(fetched(plan_for(shore, 3, layout="query"), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)


@pytest.mark.parametrize("cut", [1, 9, 5_000])
def test_half_a_packed_answer_is_a_break(shore: Wire, tmp_path: Path, cut: int) -> None:
    path = query_path(shore)
    packed = gzip.compress(wanted_bytes(3))
    shore.todo[path] = [says(200, packed[:-cut], Content_Encoding="gzip"), says(200, packed, Content_Encoding="gzip")]
    assert whole(fetched(plan_for(shore, 3, layout="query"), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)


def test_an_index_that_swells_is_stopped(shore: Wire, tmp_path: Path) -> None:
    shore.todo[INDEX] = [says(200, gzip.compress(bytes(40_000_000)), Content_Encoding="gzip")]
    found = partly(fetched(plan_for(shore, 3), tmp_path))
    assert (found.reason, "unpacks to more than 16.0 MB" in found.sentence) == (Reason.ANSWER, True)


def test_encodings_that_were_not_asked_for_are_not_taken(shore: Wire, tmp_path: Path) -> None:
    shore.todo[INDEX] = [says(200, b"x" * 50, Content_Encoding="br")]
    assert "an encoding that was not asked for (br)" in partly(fetched(plan_for(shore, 3), tmp_path)).sentence
    shore.always[FILE] = but(lambda s, h, b: (s, {**h, "Content-Encoding": "gzip"}, b))
    assert "sends a part in an encoding that was not asked for" in partly(fetched(plan_for(shore, 3), tmp_path)).sentence


@pytest.mark.source("http-digest-1")
def test_the_digest_is_the_one_that_the_standard_prints() -> None:
    # RFC 9530 prints this for the body {"hello": "world"} and a line feed.
    assert base64.b64encode(hashlib.sha256(b'{"hello": "world"}\n').digest()).decode() == "RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg="


@pytest.mark.source("http-digest-1")
@pytest.mark.parametrize(("name", "make"), [
    ("Content-Digest", lambda b: f"md5=:AAAA:, sha-256=:{base64.b64encode(hashlib.sha256(b).digest()).decode()}:"),
    ("Content-Digest", lambda b: f"sha-512=:{base64.b64encode(hashlib.sha512(b).digest()).decode()}:"),
    ("Content-MD5", lambda b: base64.b64encode(hashlib.md5(b).digest()).decode()),
])
def test_a_checksum_that_does_not_hold_sets_the_part_back(shore: Wire, tmp_path: Path, name: str, make) -> None:  # type: ignore[no-untyped-def]
    def flipped(status, headers, body):  # type: ignore[no-untyped-def]
        bad = body[:5000] + bytes([body[5000] ^ 1]) + body[5001:]
        return status, {**headers, name: make(body)}, bad

    shore.always[FILE] = but(lambda s, h, b: (s, {**h, name: make(b)}, b))
    shore.todo[FILE] = [flipped_once := but(flipped)]
    assert flipped_once
    assert whole(fetched(plan_for(shore, 3), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)
    assert shore.ranges(FILE)[:2] == ["bytes=0-70005"] * 2


def test_a_checksum_that_cannot_be_read_is_none(shore: Wire, tmp_path: Path) -> None:
    shore.always[FILE] = but(lambda s, h, b: (s, {**h, "Content-MD5": "§".encode().decode("latin-1"), "Content-Digest": "sha-256=:=:"}, b))
    assert whole(fetched(plan_for(shore, 3), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)


# ---- What must never be harmed --------------------------------------------------------------------------------------------------

def test_older_runs_are_left_as_they_are_whatever_happens(shore: Wire, tmp_path: Path) -> None:
    old = tmp_path / "shore-2026051406"
    old.mkdir()
    (old / "old.grib").write_bytes(b"old")
    held = {p: p.read_bytes() for p in old.rglob("*")}
    for behaviours in ([resets] * 9, [says(200, b"<html>busy")], [says(404)], [breaks_after(9_000)] + [resets] * 9):
        shore.todo[FILE] = list(behaviours)
        partly(fetched(plan_for(shore, 3), tmp_path, tries=2))
        assert {p: p.read_bytes() for p in old.rglob("*")} == held
    shore.todo.clear()
    whole(fetched(plan_for(shore, 3), tmp_path))
    assert {p: p.read_bytes() for p in old.rglob("*")} == held


def test_a_full_disk_ends_it_in_words_and_what_came_is_kept(shore: Wire, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import os
    real = os.pwrite
    written = 0

    def small_disk(handle: int, data: bytes, at: int) -> int:
        nonlocal written
        written += len(data)
        if written > 30_000:
            raise OSError(28, "No space left on device")
        return real(handle, data, at)

    monkeypatch.setattr(os, "pwrite", small_disk)
    found = partly(fetched(plan_for(shore, 3), tmp_path))
    assert found.reason == Reason.DISK
    assert found.sentence.startswith("the disk will not have it (No space left on device)")
    monkeypatch.setattr(os, "pwrite", real)
    assert whole(fetched(plan_for(shore, 3), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)
    assert shore.asked[-3].range != "bytes=0-70005"


def test_a_folder_that_cannot_be_is_the_disks_fault(shore: Wire, tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    assert partly(fetched(plan_for(shore, 3), tmp_path / "file")).reason == Reason.DISK


def test_no_secret_of_an_address_is_logged_said_or_kept(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    with wire() as shore:
        stock(shore, 3)
        plain = shore.base
        shore.base = plain.replace("http://", "http://sailor:HUSH@")
        made = plan_for(shore, 3, layout="query")
        path = made.requests[0].url.removeprefix(shore.base)
        shore.files[path] = wanted_bytes(3)
        shore.todo[path] = [says(503), breaks_after(9_000), says(404)]
        sentence = partly(fetched(made, tmp_path)).sentence
        whole(fetched(plan_for(shore, 3), tmp_path))
    kept = "".join(p.read_text("latin-1") for p in tmp_path.rglob("*") if p.is_file() and p.suffix != ".grib")
    assert "127.0.0.1" in caplog.text
    for secret in ("HUSH", "UGRD=on", "sailor"):
        assert secret not in caplog.text
        assert secret not in sentence
        assert secret not in kept


def test_passwords_and_proxies_of_the_computer_are_not_used(shore: Wire, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    secrets = tmp_path / "netrc"
    secrets.write_text("machine 127.0.0.1 login sailor password HUSH\n")
    secrets.chmod(0o600)
    monkeypatch.setenv("NETRC", str(secrets))
    monkeypatch.setenv("http_proxy", "http://127.0.0.1:9")
    whole(fetched(plan_for(shore, 3), tmp_path))
    assert all("authorization" not in a.headers and "cookie" not in a.headers for a in shore.asked)


def test_the_proxy_that_is_named_is_used(shore: Wire, tmp_path: Path) -> None:
    path = f"{shore.base}{INDEX}"
    shore.todo[path] = [says(404)]
    found = partly(fetched(plan_for(shore, 3), tmp_path, proxy_url=shore.base))
    assert (found.reason, [a.path for a in shore.asked]) == (Reason.NOT_YET, [path])
