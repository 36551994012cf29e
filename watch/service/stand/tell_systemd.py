"""(I/O) Tells the service manager that the watch is up, alive or ending, by the datagrams of its notification protocol (source notify-1)."""

import os
import socket


def notify(*lines: str) -> bool:
    """Sends lines like READY=1, WATCHDOG=1, STOPPING=1 or STATUS=... -> whether somebody was told; False without a manager.

    Never raises: a service manager that does not listen must not end the watch.
    """
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address or address[0] not in "/@":
        return False
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as line:
            line.settimeout(1.0)
            line.connect("\0" + address[1:] if address[0] == "@" else address)
            line.sendall("\n".join(lines).encode())
    except OSError:
        return False
    return True
