"""Ways to spoil an input: bytes at first, then with some knowledge of lines, TOML, XML, JSON, sentences, messages and pages."""

import json
import random
import re
from collections.abc import Callable, Sequence
from typing import Any

NUMBERS = ["0", "-0", "-1", "1", "90", "-90", "89.9999", "90.0001", "180", "-180", "180.0001", "360", "1e308", "-1e308", "1e-320", "1e400",
           "9" * 25, "9" * 400, "9" * 5000, "nan", "inf", "-inf", "NaN", "Infinity", "1_0", "0x10", "٣", "1e9", "2147483648", "0.1", "1.5", ""]
TIMES = ["2026-05-16T12:00Z", "0001-01-01T00:00+14:00", "9999-12-31T23:59:59-12:00", "2016-12-31T23:59:60Z", "2026-05-16T12:00",
         "1969-12-31T23:59:59Z", "2026-02-30T00:00Z", "2026-05-16", "12:00:00", "2026-05-16T24:00Z", "2026-05-16T12:00:00.1234567Z"]
WORDS = [b"\0", b"\x1b[31m", b"\xff\xfe", b"\xe2\x80\xae", b"\r\n", b"\n", b"\t", b"'", b'"', b"\\", b"{}", b"[]", b"[" * 300, b"{step}",
         b"A" * 2000, b"true", b"null", b"..", b"%00", b"%n", b"{0}", b"<", b">", b"&amp;", b"=", b";", b":", b",", b"*", b"$", b"GRIB", b"7777"]
ODD = [None, True, False, 0, -1, 1e308, -1e308, 10**30, 10**400, "", "x", "\x1b[2J", "\ud800", [], {}, [[]], {"": None}, *TIMES, *NUMBERS[:24]]


def bytes_spoiled(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    """One to five rude things, knowing nothing."""
    for _ in range(rng.choice([1, 1, 2, 5])):
        at, end = sorted((rng.randint(0, len(data)), rng.randint(0, len(data))))
        end = min(end, at + rng.choice([1, 4, 40, 4000]))
        match rng.randrange(6):
            case 0:
                data = data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
            case 1:
                data = data[:at] + data[end:]
            case 2:
                data = data[:at] + rng.choice(WORDS) + data[at:]
            case 3:
                other = rng.choice(others)
                begin = rng.randint(0, len(other))
                data = data[:at] + other[begin : begin + rng.choice([4, 40, 400])] + data[end:]
            case 4:
                data = data[:end] + data[at:end] * rng.randint(1, 4) + data[end:]
            case _:
                data = data[: rng.randint(0, len(data))] if rng.random() < 0.2 else data[:at] + b"\xff" * (end - at) + data[end:]
    return data


def lines_spoiled(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    """Lines left out, doubled, moved, taken from elsewhere; numbers, times and quoted words replaced. Fits TOML, headers, logs, indexes."""
    for _ in range(rng.choice([1, 1, 1, 2, 4])):
        lines = data.split(b"\n")
        at = rng.randrange(len(lines))
        match rng.randrange(8):
            case 0:
                del lines[at]
            case 1:
                lines.insert(at, rng.choice(rng.choice(others).split(b"\n")))
            case 2:
                lines[at:at] = [lines[at]] * rng.choice([1, 1, 1, 200])
            case 3:
                lines.insert(rng.randrange(len(lines)), lines.pop(at))
            case 4 | 5:
                lines[at] = _replaced(lines[at], rng, rb"-?\d[\d.:TZe+-]*", [n.encode() for n in NUMBERS + TIMES])
            case 6:
                lines[at] = _replaced(lines[at], rng, rb'"[^"]*"', [b'"' + w + b'"' for w in WORDS] + [b"7", b"[]", b"{ a = 1 }", b"true"])
            case _:
                lines[at] = bytes_spoiled(lines[at], rng, others)
        data = b"\n".join(lines)
    return data


def _replaced(line: bytes, rng: random.Random, pattern: bytes, values: Sequence[bytes]) -> bytes:
    found = list(re.finditer(pattern, line))
    if not found:
        return line
    one = rng.choice(found)
    return line[: one.start()] + rng.choice(values) + line[one.end() :]


def xml_spoiled(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    """Elements left out, doubled, nested, moved; attributes and words replaced."""
    for _ in range(rng.choice([1, 1, 1, 2, 4])):
        parts = re.split(rb"(<[^>]*>)", data)
        at = rng.randrange(len(parts))
        match rng.randrange(6):
            case 0:
                del parts[at]
            case 1:
                parts[at:at] = parts[at : at + rng.randint(1, 8)] * rng.choice([1, 2, 150])
            case 2:
                parts.insert(rng.randrange(len(parts)), parts.pop(at))
            case 3:
                parts[at] = _replaced(parts[at], rng, rb'"[^"]*"', [b'"' + v.encode() + b'"' for v in NUMBERS] + [b'"&#27;"', b'"&x;"', b""])
            case 4:
                parts.insert(at, rng.choice([b"<wpt>", b"<rte>", b"<rtept lat='1' lon='2'>", b"</rte>", b"<desc>", b"<name>", b"<!DOCTYPE a>", b"<![CDATA["]))
            case _:
                parts[at] = bytes_spoiled(parts[at], rng, others)
        data = b"".join(parts)
    return data


def json_spoiled(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    """A node of the document replaced, left out, doubled or taken from another place; bytes when it is no JSON."""
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return bytes_spoiled(data, rng, others)
    for _ in range(rng.randint(1, 3)):
        places = list(_places(document))
        if not places:
            break
        holder, key = rng.choice(places)
        match rng.randrange(5):
            case 0 | 1:
                holder[key] = rng.choice(ODD)
            case 2:
                other, place = rng.choice(places)
                if len(json.dumps(other[place])) < 20_000:
                    holder[key] = json.loads(json.dumps(other[place]))
            case 3:
                del holder[key]
                break
            case _:
                if isinstance(holder, dict):
                    holder[rng.choice(["", "extra", "\x1b", key + "x"])] = rng.choice(ODD)
                else:
                    holder.append(holder[key])
    made = json.dumps(document)
    return (made if rng.random() < 0.9 else made.replace("0", rng.choice(["NaN", "1e999", "Infinity", "9" * 5000]), 1)).encode("utf-8", "replace")


def _places(node: Any) -> Any:
    if isinstance(node, (dict, list)):
        for key in list(node) if isinstance(node, dict) else range(len(node)):
            yield node, key
            yield from _places(node[key])


def sections(message: bytes) -> list[bytes]:
    """A GRIB message cut into its sections by the lengths they give, as far as these make sense."""
    edition = message[7:8]
    first, at = (16, 16) if edition == b"\2" else (8, 8)
    found = [message[:first]]
    while at < len(message):
        size = int.from_bytes(message[at : at + 4], "big") if edition == b"\2" else int.from_bytes(message[at : at + 3], "big")
        size = 4 if message[at : at + 4] == b"7777" else size
        if not 4 <= size <= len(message) - at:
            size = len(message) - at
        found.append(message[at : at + size])
        at += size
    return found


def grib_spoiled(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    """Sections of one message spoiled, left out, doubled or taken from another message; lengths mostly put right again."""
    starts = [match.start() for match in re.finditer(b"GRIB", data)]
    if not starts or rng.random() < 0.15:
        return bytes_spoiled(data, rng, others)
    number = rng.randrange(len(starts))
    begin, end = starts[number], [*starts[1:], len(data)][number]
    parts = sections(data[begin:end])
    for _ in range(rng.choice([1, 1, 1, 2, 4])):
        at = rng.randrange(len(parts))
        match rng.randrange(10):
            case 0 if len(parts) > 1:
                del parts[at]
            case 1:
                parts.insert(at, rng.choice(parts))
            case 2:
                other = rng.choice(others)
                place = other.find(b"GRIB")
                parts[at] = rng.choice(sections(other[place:])) if place >= 0 else parts[at]
            case _:
                part, where = bytearray(parts[at]), rng.randrange(max(1, min(len(parts[at]), 100)))
                head = 5 if rng.random() < 0.9 else 0  # mostly leave the section's own length alone
                size = rng.choice([1, 1, 1, 2, 4])
                value = rng.choice([b"\0", b"\xff", b"\x7f", b"\x80", b"\1"]) * size if rng.random() < 0.6 else rng.randbytes(size)
                if where >= head:
                    part[where : where + size] = value[: max(0, len(part) - where)]
                parts[at] = bytes(part)
    made = b"".join(parts)
    if rng.random() < 0.9 and len(made) > 16:
        width = slice(8, 16) if made[7] == 2 else slice(4, 7)
        made = made[: width.start] + (len(made) % (1 << 24)).to_bytes(width.stop - width.start, "big") + made[width.stop :]
    return data[:begin] + made + data[end:]


def pages_spoiled(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    """A file of pages of 4096 bytes: pages zeroed, swapped, cut off, spoiled in their heads."""
    pages = [bytearray(data[at : at + 4096]) for at in range(0, len(data), 4096)]
    for _ in range(rng.randint(1, 4) if pages else 0):
        at = rng.randrange(len(pages))
        match rng.randrange(7):
            case 0:
                pages[at][:] = bytes(len(pages[at]))
            case 1:
                other = rng.randrange(len(pages))
                pages[at], pages[other] = pages[other], pages[at]
            case 2:
                del pages[rng.randrange(len(pages)) :]
                if not pages:
                    break
            case 3:
                pages[0][rng.randrange(100) % max(1, len(pages[0]))] = rng.randrange(256)
            case 4:
                pages[at][rng.randrange(16) % max(1, len(pages[at]))] = rng.randrange(256)
            case 5:
                pages[at] = bytearray(bytes_spoiled(bytes(pages[at]), rng, others)[:4096])
            case _:
                where = rng.randrange(max(1, len(pages[at])))
                pages[at][where : where + 4] = rng.randbytes(4)
        pages = [page for page in pages if page] or [bytearray(b"\0")]
    return b"".join(bytes(page) for page in pages)


def mixed(*ways: Callable[[bytes, random.Random, Sequence[bytes]], bytes]) -> Callable[[bytes, random.Random, Sequence[bytes]], bytes]:
    """Now one way, now another."""
    return lambda data, rng, others: rng.choice(ways)(data, rng, others)
