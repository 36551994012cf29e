"""(I/O) Secrets: from the environment or a file that only its owner may read; never in a log, a repr or an error."""

import logging
import os
import re
import stat
import tomllib
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, NoReturn
from urllib.parse import quote, quote_plus

from watch.faults import BadInputError, Fault

ENVIRONMENT = "NIGHTORDERS_SECRET_"
HIDDEN = "***"
SHORTEST = 4  # a shorter secret could not be taken out of a sentence without taking the sentence
SHORTEST_PART = 8  # of an address: shorter parts are words like "https"


class Secret:
    """A value that is never shown: its repr, str and format are ***, and it cannot be pickled or copied into data.

    >>> f"{Secret('fair wind')} {Secret('fair wind')!r}"
    '*** ***'
    """

    __slots__ = ("_value",)

    def __init__(self, value: str):
        self._value = value

    def reveal(self) -> str:
        """The value itself, for the one call that needs it."""
        return self._value

    def __repr__(self) -> str:
        return HIDDEN

    def __format__(self, spec: str) -> str:
        return HIDDEN

    def __reduce__(self) -> NoReturn:
        raise TypeError("a secret is not written down")


class Secrets:
    """All secrets that the channels use, by name, and the scrubbing of any text that might hold one."""

    def __init__(self, values: Mapping[str, str]):
        self._secrets = {name: Secret(value) for name, value in values.items()}

    def __repr__(self) -> str:
        return f"Secrets({', '.join(sorted(self._secrets))})"

    def __getitem__(self, name: str) -> Secret:
        return self._secrets[name]

    def scrub(self, text: str) -> str:
        """Any text -> the same without any secret, nor the long parts of one that is an address, plain or quoted."""
        for form in sorted(self._forms(), key=len, reverse=True):
            text = text.replace(form, HIDDEN)
        return text

    def _forms(self) -> set[str]:
        parts = {part for secret in self._secrets.values() for part in _parts(secret.reveal())}
        return {form for part in parts for form in (part, quote(part, safe=""), quote_plus(part), repr(part)[1:-1])}


def _parts(value: str) -> list[str]:
    """A secret and, when it holds web addresses, what stands between their separators."""
    parts = re.split(r"[\s/?&=:@,;#]+", value) if "://" in value else []
    return [value, *(line for line in value.split() if "://" in line), *(part for part in parts if len(part) >= SHORTEST_PART)]


def load_secrets(names: Iterable[str], environment: Mapping[str, str], file: Path | None) -> Secrets:
    """Names of secrets -> their values, from NIGHTORDERS_SECRET_<NAME> in the environment first, then from the file.

    Raises BadInputError: a file that others may read, is not TOML of texts, or every secret that is nowhere to be found.
    """
    kept = {} if file is None else private_table(file, "make it, or take secrets_file out of the settings", 'mail_password = "..."')
    values: dict[str, str] = {}
    faults = []
    for name in dict.fromkeys(names):
        value = environment.get(ENVIRONMENT + name.upper(), kept.get(name, ""))
        if len(value) >= SHORTEST:
            values[name] = value
        elif value:
            faults.append(Fault(f"secret {name}", None, f"has fewer than {SHORTEST} characters: too few to be kept out of a log"))
        else:
            where = f"set {ENVIRONMENT}{name.upper()} in the environment" + (f" or {name} in {file}" if file else "")
            faults.append(Fault(f"secret {name}", None, f"is nowhere to be found: {where}"))
    if faults:
        raise BadInputError("alerts", faults)
    return Secrets(values)


def private_table(file: Path, absent: str, like: str) -> dict[str, str]:
    """A TOML file of texts that only its owner may get at -> its names and texts. absent: what to do when there is none; like: a line.

    Raises BadInputError, which never repeats what stands in the file.
    """
    try:
        with file.open("rb") as stream:
            state = os.fstat(stream.fileno())
            if os.name == "posix" and (state.st_mode & (stat.S_IRWXG | stat.S_IRWXO)):
                mode = stat.filemode(state.st_mode)
                raise BadInputError(file, [f"others on this machine can get at these secrets ({mode}): run chmod 600 {file}"])
            table = tomllib.loads(stream.read().decode("utf-8"))
    except FileNotFoundError:
        raise BadInputError(file, [f"no such file of secrets; {absent}"]) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError):  # what stands in it is not repeated
        raise BadInputError(file, [f"is not TOML; one secret a line, like {like}"]) from None
    except OSError as error:
        raise BadInputError(file, [f"cannot be read: {error.strerror}"]) from None
    faults = [Fault(name, None, 'a text in quotes, like "..."') for name, value in table.items() if not isinstance(value, str)]
    if faults:
        raise BadInputError(file, faults)
    return table


def scrub_logs(scrub: Callable[[str], str]) -> Callable[[], None]:
    """From now on every log record of this process, of any library and with its traceback, is scrubbed; -> what undoes it."""
    before = logging.getLogRecordFactory()

    def scrubbed(*args: Any, **kwargs: Any) -> logging.LogRecord:
        record = before(*args, **kwargs)
        record.msg, record.args = scrub(record.getMessage()), None
        if record.exc_info:
            record.exc_text = scrub(logging.Formatter().formatException(record.exc_info))
        return record

    logging.setLogRecordFactory(scrubbed)
    return lambda: logging.setLogRecordFactory(before)
