"""The sounds, measured: number of pulses, pitch and length."""

import io
import wave

import numpy as np
import pytest
from numpy.typing import NDArray

from watch.alerts.situation import Priority
from watch.alerts.tones import RATE_HZ, seconds, wav, waveform

HEARD = [p for p in Priority if p.is_heard]


def pulses(priority: Priority) -> list[tuple[int, int]]:
    """(first, last) sample of each stretch of sound, found in the waveform: quiet for 50 ms ends one."""
    loud = np.flatnonzero(np.abs(waveform(priority)) > 0.01)
    gaps = np.flatnonzero(np.diff(loud) > 0.05 * RATE_HZ)
    return list(zip(loud[np.r_[0, gaps + 1]].tolist(), loud[np.r_[gaps, loud.size - 1]].tolist(), strict=True))


def pitches_hz(priority: Priority) -> NDArray[np.float64]:
    """The frequencies that carry at least a tenth of the strongest power in the whole sound."""
    samples = waveform(priority)
    power = np.abs(np.fft.rfft(samples)) ** 2
    return np.fft.rfftfreq(samples.size, 1.0 / RATE_HZ)[power > power.max() / 10.0]


@pytest.mark.source("ges-1")
def test_an_emergency_is_seven_short_and_one_long() -> None:
    lengths = [last - first for first, last in pulses(Priority.EMERGENCY_ALARM)]
    assert len(lengths) == 8
    assert lengths[7] > 3 * max(lengths[:7])


@pytest.mark.source("bam-1")
def test_an_alarm_cannot_be_taken_for_a_warning() -> None:
    assert (len(pulses(Priority.ALARM)), len(pulses(Priority.WARNING))) == (3, 2)
    assert pitches_hz(Priority.ALARM).min() > 2.0 * pitches_hz(Priority.WARNING).max()
    warble = np.ptp(pitches_hz(Priority.ALARM)), np.ptp(pitches_hz(Priority.WARNING))
    assert warble[0] > 300.0 > 30.0 > warble[1]
    assert np.abs(waveform(Priority.ALARM)).max() > np.abs(waveform(Priority.WARNING)).max()


@pytest.mark.source("bam-2")
def test_a_caution_has_no_sound() -> None:
    with pytest.raises(ValueError, match="no sound"):
        waveform(Priority.CAUTION)


@pytest.mark.source("tones-1")
@pytest.mark.parametrize("priority", HEARD)
def test_the_file_holds_the_waveform_unclipped_and_ends_in_silence(priority: Priority) -> None:
    with wave.open(io.BytesIO(wav(priority))) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE_HZ)
        samples = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2") / 32767.0
    assert np.abs(samples - waveform(priority)).max() < 1e-4
    assert 0.5 < np.abs(samples).max() < 1.0
    assert samples[0] == samples[-1] == 0.0
    assert samples.size / RATE_HZ == pytest.approx(seconds(priority), abs=0.01)


@pytest.mark.source("tones-1")
@pytest.mark.parametrize("priority", HEARD)
def test_a_sound_is_over_before_it_is_repeated(priority: Priority) -> None:
    assert seconds(priority) < 15.0
