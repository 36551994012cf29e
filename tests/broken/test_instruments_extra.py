"""What the sailor reads when the libraries of the instruments are not installed."""

import sys
from collections.abc import Callable, Iterator

import pytest

from watch.faults import BadInputError
from watch.instruments.feeds import SerialFeed, WebsocketFeed
from watch.instruments.nmea0183 import parse_line
from watch.instruments.sentences import layout
from watch.when import parse_utc

INSTALL = 'install it with pip install "nightorders[instruments]"'
USES: dict[str, tuple[Callable[[], object], str]] = {
    "serial": (lambda: SerialFeed("/dev/ttyUSB0"), f"a serial line needs the package pyserial: {INSTALL}"),
    "websockets.sync.client": (lambda: WebsocketFeed("ws://boat:3000/"),
                               f"a Signal K stream needs the package websockets: {INSTALL}"),
    "pynmea2": (lambda: parse_line("$HEHDT,119.9,T*2F", parse_utc("2026-05-14T12:00Z")),
                f"reading NMEA 0183 needs pynmea2: {INSTALL}"),
}


@pytest.fixture(autouse=True)
def _layouts_forgotten() -> Iterator[None]:
    layout.cache_clear()
    yield
    layout.cache_clear()


@pytest.mark.parametrize("module", USES)
def test_each_missing_library_is_one_sentence(module: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, module, None)
    use, says = USES[module]
    with pytest.raises(BadInputError) as refusal:
        use()
    assert str(refusal.value) == f"instruments: {says}"
