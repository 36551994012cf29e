"""(I/O) The sailor's settings for the page: the [page] part of watch.toml, and the file with the hashes of its passphrases."""

from pathlib import Path
from typing import Annotated

from pydantic import Field, ValidationError

from watch.alerts.secrets import private_table
from watch.faults import BadInputError, Fault, Strict, faults_of, show
from watch.files import named_path, read_toml
from watch.service.give_out import write_whole
from watch.service.web_access import Access, Right, hash_passphrase, is_loopback, matches

KEYS = {Right.READ: "read", Right.ACKNOWLEDGE: "acknowledge"}
MAKE = "make one with: nightorders passphrase"
HEAD = "# Hashes of the page's passphrases, made by: nightorders passphrase. Only you may read this file.\n"
Names = Annotated[tuple[Annotated[str, Field(pattern=r"^[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?$")], ...], Field(strict=False, max_length=16)]


class PageConfig(Strict):
    """The [page] part of watch.toml."""

    address: str = Field(
        default="127.0.0.1", pattern=r"^[0-9A-Za-z.:-]+$", description="the address to listen at", examples=["127.0.0.1"]
    )
    port: int = Field(default=8470, ge=1024, le=65535, description="a port number, 1024 to 65535", examples=[8470])
    names: Names = Field(default=(), description="other names by which this computer is called on board", examples=[["kittiwake.local"]])
    passphrase_file: str | None = Field(
        default=None, min_length=1, description="a file only you may read", examples=["~/.config/nightorders/page.toml"]
    )
    allow_ack: bool = Field(default=True, description="false when alerts are only shown on the page, never acknowledged there")


def read_page_config(settings: Path) -> PageConfig:
    """watch.toml -> its [page] part, as usual when there is none; its other parts are looked at by others. Raises BadInputError."""
    table = read_toml(settings, "settings file").get("page", {})
    if not isinstance(table, dict):
        raise BadInputError(settings, [Fault("page", show(table), "a table: write [page] on a line of its own")])
    try:
        return PageConfig.model_validate(table)
    except ValidationError as error:
        placed = [Fault(f"page.{f.place}" if f.place else "page", f.found, f.expected) for f in faults_of(error, PageConfig)]
        raise BadInputError(settings, placed) from None


def hash_file(config: PageConfig, settings: Path) -> Path | None:
    """Where the hashes are kept; a relative path is beside the settings."""
    return None if config.passphrase_file is None else named_path(settings.parent, config.passphrase_file)


def load_access(settings: Path) -> Access:
    """watch.toml and the file it names -> where the page listens and who may do what.

    Raises BadInputError: for settings that are wrong, a file that others may read, and a page that would be open to the whole network.
    """
    config = read_page_config(settings)
    file = hash_file(config, settings)
    hashes = {} if file is None else kept_hashes(file)
    address = "127.0.0.1" if config.address == "localhost" else config.address
    if not is_loopback(address) and not hashes:
        wanted = f"would let everybody on the network in: set page.passphrase_file and {MAKE}; or write 127.0.0.1"
        raise BadInputError(settings, [Fault("page.address", show(config.address), wanted)])
    return Access(
        address=address, port=config.port, read_hash=hashes.get("read"),
        acknowledge_hash=hashes.get("acknowledge"), hosts=config.names, allow_acknowledge=config.allow_ack,
    )  # fmt: skip


def kept_hashes(file: Path) -> dict[str, str]:
    """The file's hashes by what they give the right to. Raises BadInputError."""
    table = private_table(file, MAKE, 'acknowledge = "scrypt$..."')
    strange = [Fault(name, None, "not a key known here: read or acknowledge") for name in table if name not in KEYS.values()]
    if strange:
        raise BadInputError(file, strange)
    return table


def keep_passphrase(file: Path, right: Right, passphrase: str, salt: bytes) -> None:
    """Puts the hash of a passphrase into the file, which is made if need be, for nobody else to read. Raises BadInputError."""
    kept = kept_hashes(file) if file.exists() else {}
    other = next((name for r, name in KEYS.items() if r is not right and name in kept and matches(passphrase, kept[name])), None)
    if other is not None:
        raise BadInputError("the passphrase", [f"is the one to {other} with; take another, or the two rights are one"])
    kept[KEYS[right]] = made_hash(passphrase, salt)
    try:
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise BadInputError(file.parent, [f"cannot be made ({error.strerror}); name a passphrase_file where you may write"]) from None
    text = HEAD + "".join(f'{name} = "{value}"\n' for name, value in sorted(kept.items()))
    write_whole(file, text.encode(), mode=0o600)


def made_hash(passphrase: str, salt: bytes) -> str:
    """As hash_passphrase, with a sentence for a person when it is too short."""
    try:
        return hash_passphrase(passphrase, salt)
    except ValueError as error:
        raise BadInputError("the passphrase", [str(error)]) from None
