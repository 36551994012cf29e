"""(I/O) Runs a command without a shell, with a time limit for it and everything it started."""

import contextlib
import os
import signal
import subprocess
import tempfile
from collections.abc import Mapping, Sequence

from watch.alerts.channels.channel import Answer, Failed, Sent, in_words
from watch.alerts.secrets import ENVIRONMENT
from watch.alerts.words import one_line

MOST_READ = 10_000  # bytes of what it complained of


def run(argv: Sequence[str], timeout_s: float, *, text: str = "", variables: Mapping[str, str] | None = None) -> Answer:
    """A command and its arguments -> whether it ended well in time. It never gets the secrets of our environment."""
    environment = {k: v for k, v in os.environ.items() if not k.startswith(ENVIRONMENT)} | dict(variables or {})
    with tempfile.TemporaryFile() as errors:  # a file, not a pipe: what the command leaves running does not hold us up
        try:
            process = subprocess.Popen(
                list(argv), stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=errors, env=environment,
                start_new_session=True,
            )
        except (OSError, ValueError) as error:
            return Failed(f"{argv[0]} cannot be run: {in_words(error, timeout_s)}", retry=False)
        try:
            process.communicate(text.encode(), timeout=timeout_s)
        except subprocess.TimeoutExpired:
            _end(process)
            return Failed(f"{argv[0]} did not end within {timeout_s:g} s")
        errors.seek(0)
        last = one_line(errors.read(MOST_READ).decode("utf-8", "replace").strip().rpartition("\n")[2])[:200]
    if process.returncode == 0:
        return Sent()
    return Failed(f"{argv[0]} ended with {process.returncode}" + (f": {last}" if last else ""))


def _end(process: "subprocess.Popen[bytes]") -> None:
    with contextlib.suppress(ProcessLookupError, PermissionError):
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
    process.communicate()
