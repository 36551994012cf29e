"""The signature of a webhook, against the vectors of RFC 4231 and the definition of RFC 2104 written out."""

import hashlib

import pytest

from watch.alerts.channels.webhook import hmac_sha256, signature

pytestmark = pytest.mark.source("hmac-1")


@pytest.mark.parametrize(("key", "data", "digest"), [
    (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
    (b"Jefe", b"what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"),
    (b"\xaa" * 131, b"Test Using Larger Than Block-Size Key - Hash Key First",
     "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"),
])
def test_the_vectors(key: bytes, data: bytes, digest: str) -> None:
    assert hmac_sha256(key, data) == digest


def test_the_signature_is_over_timestamp_dot_body() -> None:
    key, block = b"a key of the sailor", 64
    padded = key.ljust(block, b"\0")
    inner = hashlib.sha256(bytes(b ^ 0x36 for b in padded) + b'1778788800.{"title": "Reef 3"}').digest()
    expected = hashlib.sha256(bytes(b ^ 0x5C for b in padded) + inner).hexdigest()
    assert signature(key, "1778788800", b'{"title": "Reef 3"}') == expected
