"""What a door is to the fuzz: inputs to begin with, a way to spoil them, and one try whose outcome is a short word or sentence."""

import random
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from watch.faults import BadInputError

LONGEST_LINE = 1000  # of what is said to a person
Try = Callable[[bytes], str]
Spoil = Callable[[bytes, random.Random, Sequence[bytes]], bytes]


class UnsoundError(AssertionError):
    """Nothing was raised, but what came out cannot be right."""


@dataclass(frozen=True, kw_only=True)
class Door:
    """seeds: of a folder to work in, the good inputs. opens: of that folder, what tries one input: the outcome, "refused: ..." when it is
    refused; whatever else it raises is a crash. weight: of the inputs in all. limit_s: seconds of the processor for one input."""

    name: str
    seeds: Callable[[Path], list[bytes]]
    opens: Callable[[Path], Try]
    spoil: Spoil
    weight: float = 1.0
    limit_s: float = 5.0
    longest: int = 1 << 16


def hold(sound: bool, what: object) -> None:
    if not sound:
        raise UnsoundError(str(what)[:300])


def said(text: str) -> str:
    """A refusal: checked that a person can read it, and made short so that alike ones are counted once."""
    hold(bool(text.strip()), "an empty refusal")
    for line in text.split("\n"):
        hold(line.isprintable(), f"what no terminal should be sent: {line!r}")
        hold(len(line) <= LONGEST_LINE, f"{len(line)} letters in a sentence: {line}")
        hold("Traceback" not in line, line)
    first = text.split("\n")[0]
    return "refused: " + re.sub(r"\"[^\"]*\"|'[^']*'", '""', re.sub(r"-?\d[\d.e+]*", "0", first.rpartition("/")[2]))[:80]


def refused(error: BadInputError) -> str:
    hold(len(str(error).split("\n")) == len(error.faults) > 0, f"a fault of several lines: {str(error)[:200]!r}")
    return said(str(error))
