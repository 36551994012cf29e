"""The page's server: who may read, who may acknowledge, what is refused and how; fuzzed from its own description."""

import itertools
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.page_demo import FixedSource, alarm, demo_orders, health
from watch.faults import BadInputError
from watch.render.page_parts import PageHealth
from watch.service.web import HEADERS, Latest, make_app
from watch.service.web_access import Access, Bucket, Right, Sessions, hash_passphrase, matches

READ, ACKNOWLEDGE = "four words at sea", "quite another phrase"
SALT = b"0123456789abcdef"
HASHES = {"read_hash": hash_passphrase(READ, SALT), "acknowledge_hash": hash_passphrase(ACKNOWLEDGE, SALT)}
OURS = {"x-nightorders": "1"}
FORM = {"alert": "front.20260516", "revision": "3"}


def client(source: FixedSource | None = None, *, clock: Any = None, **access: Any) -> TestClient:
    made = make_app(source or FixedSource(demo_orders(), (alarm(),)), Access(**access), clock or itertools.count().__next__)
    return TestClient(made, base_url="http://localhost:8470", follow_redirects=False)


def signed_in(passphrase: str, source: FixedSource | None = None) -> TestClient:
    made = client(source, **HASHES)
    assert made.post("/sign-in", data={"passphrase": passphrase}, headers=OURS).status_code == 303
    return made


def test_without_a_passphrase_it_listens_only_at_a_loopback_address() -> None:
    Access()
    Access(address="::1")
    for address in ("0.0.0.0", "192.168.1.5", "::", "boat.local"):
        with pytest.raises(BadInputError, match=r"set a passphrase, or listen at 127\.0\.0\.1 only"):
            Access(address=address)
    Access(address="0.0.0.0", read_hash=HASHES["read_hash"])


def test_reading_and_acknowledging_are_separate_rights() -> None:
    source = FixedSource(demo_orders(), (alarm(),))
    nobody, reader, skipper = client(source, **HASHES), signed_in(READ, source), signed_in(ACKNOWLEDGE, source)
    for path in ("/orders.json", "/alerts.json", "/health", "/mark", "/"):
        assert nobody.get(path).status_code == 401
        assert reader.get(path).status_code == skipper.get(path).status_code == 200
    assert "Kittiwake" not in nobody.get("/").text
    assert nobody.post("/ack", data=FORM, headers=OURS).status_code == 401
    assert reader.post("/ack", data=FORM, headers=OURS).status_code == 403
    assert source.acknowledged == []
    assert skipper.post("/ack", data=FORM, headers=OURS | {"accept": "application/json"}).json() == {"acknowledged": "front.20260516"}
    assert source.acknowledged == [("front.20260516", 3, "signed in", "page at testclient")]


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": "http://elsewhere.example"},
        {"origin": "null"},
        {"origin": "http://localhost:9999"},
        {"sec-fetch-site": "cross-site", "origin": "http://localhost:8470"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "cross-site", "x-nightorders": "1"},
    ],
)
def test_a_form_on_another_page_can_acknowledge_nothing(headers: dict[str, str]) -> None:
    source = FixedSource(demo_orders(), (alarm(),))
    assert client(source).post("/ack", data=FORM, headers=headers).status_code == 403
    assert source.acknowledged == []


@pytest.mark.parametrize("headers", [OURS, {"origin": "http://localhost:8470"}, {"sec-fetch-site": "same-origin"}])
def test_its_own_form_and_a_program_can(headers: dict[str, str]) -> None:
    source = FixedSource(demo_orders(), (alarm(),))
    assert client(source).post("/ack", data=FORM, headers=headers).status_code == 303
    assert len(source.acknowledged) == 1


def test_a_name_that_is_not_ours_is_refused() -> None:
    for host in ("elsewhere.example", "elsewhere.example:8470", "", "127.0.0.1.elsewhere.example"):
        assert client().get("/orders.json", headers={"host": host}).status_code == 400
    for host in ("localhost", "127.0.0.1:8470", "[::1]:8470"):
        assert client().get("/orders.json", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    ("body", "kind", "status", "words"),
    [
        (b"alert=front.20260516&revision=2", None, 409, "it has changed since you read it"),
        (b"alert=no.such&revision=2", None, 409, "there is no such alert"),
        (b"alert=front.20260516", None, 400, "expected an alert and the revision"),
        (b"alert=front.20260516&revision=-1", None, 400, "expected an alert and the revision"),
        ("alert=a&revision=\u0663".encode(), None, 400, "that is no form"),
        (b"alert=a&alert=b&revision=1", None, 400, "a field is given twice"),
        (b"\xff\xfe", None, 400, "that is no form"),
        (b"", None, 400, "expected an alert"),
        (b"a=" + b"b" * 9000, None, 413, "at most 8192 bytes"),
        (b'{"alert": "a"}', "application/json", 415, "send it as a form"),
    ],
)
def test_what_cannot_be_followed_is_refused_in_words(body: bytes, kind: str | None, status: int, words: str) -> None:
    source = FixedSource(demo_orders(), (alarm(),))
    headers = OURS | {"content-type": kind or "application/x-www-form-urlencoded"}
    answer = client(source).post("/ack", content=body, headers=headers)
    assert answer.status_code == status
    assert words in answer.json()["error"]
    assert source.acknowledged == []


def test_every_answer_carries_the_headers_and_no_secret() -> None:
    reader = signed_in(READ)
    for path in ("/", "/orders.json", "/nowhere", "/openapi.json"):
        answer = reader.get(path)
        assert {k: answer.headers[k] for k in HEADERS} == HEADERS
        assert "unsafe" not in answer.headers["Content-Security-Policy"]
        for secret in (READ, ACKNOWLEDGE, *HASHES.values(), reader.cookies["nightorders"]):
            assert secret not in answer.text
    assert reader.get("/nowhere").status_code == 404
    assert reader.get("/ack").status_code == 405


def test_a_session_is_out_of_reach_of_scripts_and_other_sites_and_ends() -> None:
    made = client(**HASHES)
    cookie = made.post("/sign-in", data={"passphrase": READ}, headers=OURS).headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert made.get("/mark").status_code == 200
    token = made.cookies["nightorders"]
    assert made.post("/sign-out", headers=OURS).status_code == 303
    assert made.get("/mark", headers={"cookie": f"nightorders={token}"}).status_code == 401


def test_guessing_is_slowed() -> None:
    still = client(clock=lambda: 0.0, **HASHES)
    answers = [still.post("/sign-in", data={"passphrase": f"guess {n}"}, headers=OURS).status_code for n in range(7)]
    assert answers == [401] * 5 + [429] * 2
    assert still.post("/sign-in", data={"passphrase": READ}, headers=OURS).status_code == 429


def test_a_flood_is_turned_away_and_forgotten() -> None:
    bucket = Bucket(3.0, 0.5)
    assert [bucket.take("a", 0.0) for _ in range(5)] == [True] * 3 + [False] * 2
    assert bucket.take("b", 0.0), "one client's flood is not another's"
    assert not bucket.take("a", 1.9)
    assert bucket.take("a", 2.1)
    for n in range(3000):
        bucket.take(str(n), 3.0)
    assert len(bucket.kept) <= 1024


def test_sessions_end_by_time_and_number() -> None:
    sessions = Sessions()
    sessions.begin("t", Right.READ, 0.0)
    assert sessions.right("t", 14 * 86400 - 1) is Right.READ
    assert sessions.right("t", 14 * 86400) is Right.NONE
    for n in range(100):
        sessions.begin(str(n), Right.READ, float(n))
    assert len(sessions.kept) == 64
    assert sessions.right("99", 100.0) is Right.READ
    assert all("t" not in k and len(k) == 64 for k in sessions.kept), "tokens are kept only as hashes"


@pytest.mark.source("scrypt-1")
def test_the_hash_is_scrypt_as_published() -> None:
    """The standard's vector with N = 16384, through our own reading of a kept line."""
    published = bytes.fromhex(
        "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2d5432955613f0fcf62d49705242a9af9e61e85dc0d651e40dfcf017b45575887"
    )
    import base64

    kept = f"scrypt$16384$8$1${base64.b64encode(b'SodiumChloride').decode()}${base64.b64encode(published).decode()}"
    assert matches("pleaseletmein", kept)
    assert not matches("pleaseletmeout", kept)


def test_a_bad_hash_and_a_short_passphrase_are_refused_in_words() -> None:
    for kept in ("", "scrypt$1$1$1$a$b", "plain", "scrypt$16384$8$1$*$*"):
        with pytest.raises(BadInputError, match="is no hash of a passphrase"):
            Access(read_hash=kept)
    with pytest.raises(ValueError, match="at least 10 letters"):
        hash_passphrase("short", SALT)


def test_no_orders_is_said_and_never_looks_calm() -> None:
    blind = client(FixedSource(None, (alarm(),), well=False))
    answer = blind.get("/")
    assert answer.status_code == 503
    assert "THERE ARE NO ORDERS" in answer.text
    assert "none for 25 minutes" in answer.text
    assert 'action="/ack"' in answer.text
    assert blind.get("/orders.json").json() == {"error": "there are no orders"}


def test_the_mark_changes_with_what_is_shown_and_not_with_the_time() -> None:
    source = FixedSource(demo_orders(), (alarm(),))
    made = client(source)
    first = made.get("/mark").json()["mark"]
    assert made.get("/mark").json()["mark"] == first
    assert f'data-mark="{first}"' in made.get("/").text
    made.post("/ack", data=FORM, headers=OURS)
    second = made.get("/mark").json()["mark"]
    source.well = False
    assert len({first, second, made.get("/mark").json()["mark"]}) == 3


def test_health_that_is_unwell_is_on_the_page() -> None:
    parts: PageHealth = health(demo_orders().made_at, well=False)
    assert not parts.well
    page = client(FixedSource(demo_orders(), well=False)).get("/").text
    assert "The watch is not well" in page
    assert isinstance(FixedSource(demo_orders()).latest(), Latest)


def test_another_program_sees_by_the_status_alone_whether_the_watch_is_well() -> None:
    good = client(FixedSource(demo_orders())).get("/health")
    assert good.status_code == 200
    assert good.json()["well"] is True
    assert good.json()["orders_made_at"] == "2026-05-16T12:00:00Z"
    for source in (FixedSource(demo_orders(), well=False), FixedSource(None)):
        bad = client(source).get("/health")
        assert bad.status_code == 503
        assert bad.json()["well"] is False
    assert client(FixedSource(demo_orders()), **HASHES).get("/health").status_code == 401


def test_where_acknowledging_is_left_out_nobody_can() -> None:
    source = FixedSource(demo_orders(), (alarm(),))
    made = client(source, allow_acknowledge=False)
    assert made.post("/ack", data=FORM, headers=OURS).status_code == 403
    page = made.get("/").text
    assert "This page may not do it" in page
    assert 'action="/ack"' not in page
    assert source.acknowledged == []


@pytest.fixture(scope="module")
def fuzzed() -> Any:
    schemathesis = pytest.importorskip("schemathesis", reason="no schemathesis: the interface is not fuzzed")
    app = make_app(FixedSource(demo_orders(), (alarm(),)), Access(hosts=("testserver",)), itertools.count(0.0, 60.0).__next__)
    return schemathesis.openapi.from_asgi("/openapi.json", app)


def test_fuzzed_from_its_own_description_it_never_fails(fuzzed: Any) -> None:
    """Every operation, with good and bad input: never a 5xx, and only answers that the description has."""
    from hypothesis import HealthCheck, Phase, given, settings

    tried = 0
    for operation in (found.ok() for found in fuzzed.get_all_operations()):

        @given(case=operation.as_strategy())
        @settings(
            max_examples=12, deadline=None, database=None, derandomize=True, phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        def one(case: Any) -> None:
            nonlocal tried
            tried += 1
            answer = case.call(headers=OURS)
            assert answer.status_code < 500 or answer.status_code == 503
            case.validate_response(answer)

        one()
    assert tried > 25
