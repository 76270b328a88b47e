"""The sampled horns sound what their notes say, when they say it."""

from __future__ import annotations

import numpy as np
import pytest

from tests.sampled_horns import SampledHorn, TrueNote


@pytest.fixture(params=["sampled_sax", "sampled_trombone"])
def horn(request: pytest.FixtureRequest) -> SampledHorn:
    found: SampledHorn = request.getfixturevalue(request.param)
    return found


def lag_of_period(horn: SampledHorn, note: TrueNote) -> float:
    """Best period within half an octave of the true one, in samples, by normalised autocorrelation."""
    a, b = (int(t * horn.sample_rate_hz) for t in (note.onset_s + 0.08, note.end_s - 0.02))
    x = horn.audio[a:b] - horn.audio[a:b].mean()
    period = horn.sample_rate_hz / note.f0_hz
    lags = np.arange(int(period / 1.4), int(period * 1.4))
    likeness = np.array([np.dot(x[:-k], x[k:]) / np.sqrt(np.dot(x[:-k], x[:-k]) * np.dot(x[k:], x[k:])) for k in lags])
    i = int(np.argmax(likeness))
    below, top, above = likeness[i - 1 : i + 2]
    return float(lags[i] + 0.5 * (below - above) / (below - 2 * top + above))


def test_pitches_are_true(horn: SampledHorn) -> None:
    # A soundfont's samples are tuned by hand to a few cents; a player's own pitch moves by more than 10.
    for note in horn.notes:
        cents = 1200 * np.log2(horn.sample_rate_hz / lag_of_period(horn, note) / note.f0_hz)
        assert abs(cents) < 15, (note, cents)


def test_notes_begin_when_they_should(horn: SampledHorn) -> None:
    # A synthesizer may take a note up at the next of its blocks (1.3 ms); a sampled attack takes some 10 ms to rise.
    level = np.abs(horn.audio)
    first = int(np.argmax(level > 0.02)) / horn.sample_rate_hz
    assert 0.0 <= first - horn.notes[0].onset_s < 0.03
    assert level[: int(horn.notes[0].onset_s * horn.sample_rate_hz)].max() < 1e-3
    for note in horn.notes:
        a, b = int((note.onset_s + 0.05) * horn.sample_rate_hz), int(note.end_s * horn.sample_rate_hz)
        assert np.sqrt(np.mean(horn.audio[a:b] ** 2)) > 0.02


def test_it_is_a_horn_and_not_a_sine(horn: SampledHorn) -> None:
    note = horn.notes[-1]
    a, b = (int(t * horn.sample_rate_hz) for t in (note.onset_s + 0.1, note.end_s - 0.05))
    spectrum = np.abs(np.fft.rfft(horn.audio[a:b] * np.hanning(b - a)))
    hz = np.fft.rfftfreq(b - a, 1 / horn.sample_rate_hz)
    partials = [spectrum[np.abs(hz - k * note.f0_hz) < 0.03 * note.f0_hz * k].max() for k in range(1, 6)]
    # five partials within 40 dB of the strongest, as reeds and brass have
    assert min(partials) > 0.01 * max(partials)


def test_length_and_level(horn: SampledHorn) -> None:
    assert len(horn.audio) / horn.sample_rate_hz > horn.notes[-1].end_s
    assert np.abs(horn.audio).max() == pytest.approx(0.5)
    assert horn.path.is_file()
