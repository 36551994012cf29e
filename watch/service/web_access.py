"""Who may read and who may acknowledge over the boat's network: hashed passphrases, sessions, limits on how often one may ask.

Pure: times are seconds of any clock that only goes forward, and secrets are made elsewhere. Passphrases are kept only as salted
scrypt hashes (source scrypt-1), sessions only as hashes of their tokens.
"""

import base64
import hashlib
import hmac
import ipaddress
from dataclasses import dataclass, field
from enum import IntEnum

from watch.faults import BadInputError

SCRYPT_N, SCRYPT_R, SCRYPT_P = 2**14, 8, 1  # about 16 MB and a twentieth of a second on a small computer
LEAST_LETTERS = 10
SESSION_S = 14 * 24 * 3600.0  # judgement: longer than most spells between landfalls of the phone; the boat is not left in between
MOST_SESSIONS = 64
ATTEMPTS, ATTEMPTS_PER_S = 5.0, 5 / 300  # sign-ins from one address; judged
REQUESTS, REQUESTS_PER_S = 120.0, 2.0
MOST_CLIENTS = 1024


class Right(IntEnum):
    """What somebody may do; each holds those before it."""

    NONE = 0
    READ = 1
    ACKNOWLEDGE = 2


def hash_passphrase(passphrase: str, salt: bytes) -> str:
    """A passphrase and 16 random bytes -> 'scrypt$n$r$p$salt$hash' for the settings. ValueError when it is too short to resist."""
    if len(passphrase) < LEAST_LETTERS:
        raise ValueError(f"a passphrase needs at least {LEAST_LETTERS} letters; take four words")
    if len(salt) < 16:
        raise ValueError("the salt needs 16 random bytes")
    made = hashlib.scrypt(passphrase.encode(), salt=salt, n=SCRYPT_N, r=SCRYPT_R, p=SCRYPT_P)
    return "$".join(["scrypt", str(SCRYPT_N), str(SCRYPT_R), str(SCRYPT_P), _b64(salt), _b64(made)])


def matches(passphrase: str, kept: str) -> bool:
    """Whether a passphrase is the one kept; takes as long for a wrong one as for the right one.

    >>> matches("four words at sea", hash_passphrase("four words at sea", b"0123456789abcdef"))
    True
    """
    n, r, p, salt, made = _parts(kept)
    tried = hashlib.scrypt(passphrase.encode(), salt=salt, n=n, r=r, p=p)
    return hmac.compare_digest(tried, made)


def _parts(kept: str) -> tuple[int, int, int, bytes, bytes]:
    try:
        name, n, r, p, salt, made = kept.split("$")
        if name != "scrypt" or not 2**14 <= int(n) <= 2**17 or not 1 <= int(r) <= 16 or not 1 <= int(p) <= 4:
            raise ValueError
        return int(n), int(r), int(p), base64.b64decode(salt, validate=True), base64.b64decode(made, validate=True)
    except ValueError:
        raise BadInputError("the page's passphrase", ["is no hash of a passphrase; make one anew, and keep its whole line"]) from None


def _b64(raw: bytes) -> str:
    return base64.b64encode(raw).decode()


@dataclass(frozen=True, kw_only=True)
class Access:
    """Where the page listens, and the hashes of the passphrases to read and to acknowledge (None: that right is given to nobody).

    hosts: other names by which she is called on the boat's network. allow_acknowledge: False, and nobody may acknowledge here.
    BadInputError when it would listen to others without a passphrase.
    """

    address: str = "127.0.0.1"
    port: int = 8470
    read_hash: str | None = None
    acknowledge_hash: str | None = None
    hosts: tuple[str, ...] = ()
    allow_acknowledge: bool = True

    def __post_init__(self) -> None:
        for kept in (self.read_hash, self.acknowledge_hash):
            if kept is not None:
                _parts(kept)
        if not 1 <= self.port <= 65535:
            raise BadInputError("the page", [f"port {self.port} is none; give one from 1024 to 65535, like 8470"])
        if not self.is_loopback and self.needs_no_passphrase:
            raise BadInputError(
                "the page", [f"would be open to everybody at {self.address}; set a passphrase, or listen at 127.0.0.1 only"]
            )

    @property
    def needs_no_passphrase(self) -> bool:
        """No passphrase at all: whoever reaches it may read and acknowledge. Only ever at a loopback address."""
        return self.read_hash is None and self.acknowledge_hash is None

    @property
    def most(self) -> Right:
        """The most that anybody may do here."""
        return Right.ACKNOWLEDGE if self.allow_acknowledge else Right.READ

    @property
    def is_loopback(self) -> bool:
        return is_loopback(self.address)

    def right_of(self, passphrase: str) -> Right:
        """The right that a passphrase gives; every kept hash is tried, so that the time taken tells nothing."""
        right = Right.NONE
        for kept, given in ((self.read_hash, Right.READ), (self.acknowledge_hash, Right.ACKNOWLEDGE)):
            if kept is not None and matches(passphrase, kept):
                right = max(right, given)
        return min(right, self.most)

    def knows_host(self, host: str) -> bool:
        """Whether a request was meant for this page: a name that somebody else's page may have had resolved to us is refused.

        >>> Access().knows_host("localhost:8470"), Access().knows_host("elsewhere.example:8470")
        (True, False)
        """
        name = host.rsplit(":", 1)[0] if not host.endswith("]") and host.rsplit(":", 1)[-1].isdigit() else host
        if name.lower() in {"localhost", "127.0.0.1", "[::1]", self.address.lower(), *(h.lower() for h in self.hosts)}:
            return True
        return not self.is_loopback and _is_address(name.strip("[]"))


def is_loopback(address: str) -> bool:
    """Whether only this computer reaches an address; a name is never taken for one.

    >>> is_loopback("127.0.0.1"), is_loopback("::1"), is_loopback("0.0.0.0"), is_loopback("boat.local")
    (True, True, False, False)
    """
    return _is_address(address) and ipaddress.ip_address(address).is_loopback


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


@dataclass
class Sessions:
    """Who is signed in, by the hash of their token. The oldest gives way when there are too many."""

    kept: dict[str, tuple[Right, float]] = field(default_factory=dict)

    def begin(self, token: str, right: Right, now_s: float) -> None:
        self.kept = {k: v for k, v in self.kept.items() if v[1] > now_s}
        while len(self.kept) >= MOST_SESSIONS:
            del self.kept[min(self.kept, key=lambda k: self.kept[k][1])]
        self.kept[_token_hash(token)] = (right, now_s + SESSION_S)

    def right(self, token: str | None, now_s: float) -> Right:
        found = None if not token else self.kept.get(_token_hash(token))
        return Right.NONE if found is None or found[1] <= now_s else found[0]

    def end(self, token: str | None) -> None:
        if token:
            self.kept.pop(_token_hash(token), None)


def _token_hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


@dataclass
class Bucket:
    """So many requests at once from one client, then so many a second."""

    most: float
    per_s: float
    kept: dict[str, tuple[float, float]] = field(default_factory=dict)

    def take(self, client: str, now_s: float) -> bool:
        """Whether one more is allowed now."""
        left, then = self.kept.get(client, (self.most, now_s))
        left = min(self.most, left + max(0.0, now_s - then) * self.per_s)
        if client not in self.kept and len(self.kept) >= MOST_CLIENTS:
            del self.kept[min(self.kept, key=lambda k: self.kept[k][1])]
        self.kept[client] = (left - 1.0 if left >= 1.0 else left, now_s)
        return left >= 1.0
