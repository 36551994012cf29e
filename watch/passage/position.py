"""Positions in words: degrees and minutes as they stand on a chart, read and written."""

import math
import re

_PARTS = re.compile(
    r"\s*(?P<degrees>\d{1,3}(?:\.\d+)?)\s*(?:°|º|d|deg)?\s*"
    r"(?:(?P<minutes>\d{1,2}(?:\.\d+)?)\s*(?:'|′|’|m|min)?\s*)?"
    r"(?P<side>[NSEWnsew])\s*"
)  # fmt: skip


def parse_latitude(text: str) -> float:
    """'32 18.5 N' -> degrees, north positive. Raises ValueError with a sentence.

    >>> round(parse_latitude("32 18.5 N"), 6), parse_latitude("35.25 S")
    (32.308333, -35.25)
    """
    return _parse(text, "NS", 90.0, "latitude", "32 18.5 N")


def parse_longitude(text: str) -> float:
    """'64 40.2 W' -> degrees, east positive. Raises ValueError with a sentence.

    >>> round(parse_longitude("064°40.2'W"), 6)
    -64.67
    """
    return _parse(text, "EW", 180.0, "longitude", "64 40.2 W")


def parse_position(text: str) -> tuple[float, float]:
    """'36 30.0 N, 52 00.0 W' or '36.5, -52.0' -> degrees, north and east positive. Raises ValueError with a sentence.

    >>> parse_position("36 30.0 N, 52 00.0 W"), parse_position("36.5, -52"), parse_position(show_position(36.5, -52.0))
    ((36.5, -52.0), (36.5, -52.0), (36.5, -52.0))
    """
    parts = text.split(",") if "," in text else re.split(r"(?<=[NSns])\s+", text.strip(), maxsplit=1)
    if len(parts) != 2:
        raise ValueError(f'"{text[:60]}" is no position: write it like "36 30.0 N, 52 00.0 W" or "36.5, -52.0"')
    return _degrees(parts[0], latitude=True), _degrees(parts[1], latitude=False)


def _degrees(text: str, *, latitude: bool) -> float:
    try:
        value = float(text)
    except ValueError:
        return parse_latitude(text) if latitude else parse_longitude(text)
    most = 90.0 if latitude else 360.0
    if not -most <= value <= most:
        raise ValueError(f"{value:g} is no {'latitude' if latitude else 'longitude'}: from -{most:g} to {most:g} degrees")
    return value


def _parse(text: str, sides: str, most: float, what: str, example: str) -> float:
    match = _PARTS.fullmatch(text)
    if match is None or match["side"].upper() not in sides:
        raise ValueError(f'"{text[:40]}" is no {what}: write degrees, minutes and {sides[0]} or {sides[1]}, like "{example}"')
    if match["minutes"] is not None and "." in match["degrees"]:
        raise ValueError(f'"{text[:40]}" has a fraction of degrees and minutes too: write it like "{example}"')
    minutes = float(match["minutes"] or 0.0)
    if minutes >= 60.0:
        raise ValueError(f'"{text[:40]}" has {minutes:g} minutes: minutes run from 0 to under 60, like "{example}"')
    degrees = float(match["degrees"]) + minutes / 60.0
    if degrees > most:
        raise ValueError(f'"{text[:40]}" is more than {most:g} degrees: write a {what} like "{example}"')
    return -degrees if match["side"].upper() == sides[1] else degrees


def show_position(latitude: float, longitude: float) -> str:
    """Degrees -> degrees and minutes for people, to a tenth of a minute.

    >>> show_position(32.308333, -64.67)
    '32 18.5 N 064 40.2 W'
    """
    return f"{_show(latitude, 2, 'NS')} {_show(longitude, 3, 'EW')}"


def _show(degrees: float, width: int, sides: str) -> str:
    if math.isnan(degrees):
        return "unknown"
    tenths = math.floor(abs(degrees) * 600.0 + 0.5)
    whole, rest = divmod(tenths, 600)
    return f"{whole:0{width}d} {rest / 10:04.1f} {sides[0] if degrees >= 0 else sides[1]}"
