"""The sounds: made here, told apart by number, pitch and rhythm, so that an alarm cannot be taken for a warning."""

import io
import wave

import numpy as np
from numpy.typing import NDArray

from watch.alerts.situation import Priority

RATE_HZ = 22_050
EDGE_S = 0.01  # each pulse swells and dies away over this, so that it does not click
WARBLE_S = 0.1  # an alarm changes its pitch this often within a pulse

# Pulses as (pitches in Hz taken in turn, seconds on, seconds off after). Seven short and one long is the general emergency signal
# (source ges-1); three pulses for an alarm and two for a warning are our own choice, as are the pitches.
PULSES: dict[Priority, list[tuple[tuple[float, ...], float, float]]] = {
    Priority.EMERGENCY_ALARM: [*[((2000.0, 2500.0), 0.3, 0.2)] * 7, ((2000.0, 2500.0), 2.0, 0.2)],
    Priority.ALARM: [((1600.0, 2000.0), 0.6, 0.2)] * 3,
    Priority.WARNING: [((700.0,), 0.5, 0.8)] * 2,
}
LOUDNESS = {Priority.EMERGENCY_ALARM: 0.9, Priority.ALARM: 0.9, Priority.WARNING: 0.6}


def waveform(priority: Priority) -> NDArray[np.float64]:
    """A priority that is heard -> samples in -1..1 at RATE_HZ, shape (samples,). Raises ValueError for a caution: it is silent.

    >>> round(waveform(Priority.WARNING).size / RATE_HZ, 1)
    2.6
    """
    if not priority.is_heard:
        raise ValueError("a caution makes no sound")
    return LOUDNESS[priority] * np.concatenate([_pulse(*pulse) for pulse in PULSES[priority]])


def _pulse(pitches_hz: tuple[float, ...], on_s: float, off_s: float) -> NDArray[np.float64]:
    time_s = np.arange(round(on_s * RATE_HZ)) / RATE_HZ
    turn = (time_s / WARBLE_S).astype(int) % len(pitches_hz)
    phase = 2.0 * np.pi * np.cumsum(np.asarray(pitches_hz)[turn]) / RATE_HZ
    edge = np.minimum(1.0, np.minimum(time_s, time_s[::-1]) / EDGE_S)
    return np.concatenate([np.sin(phase) * edge, np.zeros(round(off_s * RATE_HZ))])


def wav(priority: Priority) -> bytes:
    """A priority that is heard -> a WAV file of it: 16 bit, one channel, RATE_HZ."""
    buffer = io.BytesIO()
    with wave.Wave_write(buffer) as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes((waveform(priority) * 32767.0).astype("<i2").tobytes())
    return buffer.getvalue()


def seconds(priority: Priority) -> float:
    """How long the sound of a priority lasts."""
    return sum(on_s + off_s for _, on_s, off_s in PULSES[priority])
