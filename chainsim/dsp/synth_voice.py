"""Parts of a synthesizer voice that follow the horn: its loudness, the cutoff, and the mixing of oscillators.

    fc[n] = cutoff[n] 2^(e[n] env[n] + h[n] loud[n] + k[n] (pitch[n] - 60) / 12 + lfo[n])                 (1)

octaves adding up: an envelope, the horn's level from -60 to 0 dB relative to full scale, and the played pitch, which
leaves the cutoff alone at middle C.
"""

from __future__ import annotations

import math

from chainsim.dsp.envelope import FLUSH
from chainsim.dsp.pitch_rows import LEVEL_DB, SILENT_DB
from chainsim.kernel import kernel
from chainsim.units import Array, Audio

LEVEL_SMOOTHING_MS = 12.0
"""Time to 1 - 1/e of the horn's power: half a period of the lowest horns, a ripple of 2 dB at 60 Hz."""

_MOST_DB = 40.0


@kernel
def smoothed_root(smooth: float, z: Array, y: Array) -> None:
    """Replace the power in y (frames,) by its root, after two one-poles; state z (2,)."""
    z0, z1 = z[0], z[1]
    for i in range(y.shape[0]):
        z0 = y[i] + smooth * (z0 - y[i])
        z1 = z0 + smooth * (z1 - z0)
        if z1 < FLUSH * FLUSH:
            z1 = 0.0
            if z0 < FLUSH * FLUSH:
                z0 = 0.0
        y[i] = math.sqrt(z1)
    z[0], z[1] = z0, z1


@kernel
def horn_amplitude(x: Audio, smooth: float, z: Array, y: Array) -> None:
    """Fill y (frames,) with the rms of x (channels, frames), its power smoothed by two one-poles; state z (2,)."""
    share = 1.0 / x.shape[0]
    for i in range(x.shape[1]):
        power = 0.0
        for c in range(x.shape[0]):
            power += share * (x[c, i] * x[c, i])
        y[i] = power
    smoothed_root(smooth, z, y)


@kernel
def track_amplitude(track: Array, smooth: float, z: Array, y: Array) -> None:
    """Fill y (frames,) with the rms that the track's level row tells, smoothed as `horn_amplitude` is; state z (2,)."""
    last_db, power = math.nan, 0.0
    for i in range(track.shape[1]):
        level_db = track[LEVEL_DB, i]
        if level_db != last_db:
            last_db = level_db
            power = math.exp(min(level_db, _MOST_DB) * (math.log(10.0) / 10.0)) if level_db > SILENT_DB else 0.0
        y[i] = power
    smoothed_root(smooth, z, y)


@kernel
def loudness_share(track: Array, smooth: float, z: Array, y: Array) -> None:
    """Fill y (frames,) with the track's level, from 0 at -60 dB to 1 at 0 dB, by two one-poles; state z (2,)."""
    z0, z1 = z[0], z[1]
    for i in range(track.shape[1]):
        aim = min(max(1.0 + track[LEVEL_DB, i] / 60.0, 0.0), 1.0)
        z0 = aim + smooth * (z0 - aim)
        z1 = z0 + smooth * (z1 - z0)
        if z1 < FLUSH:
            z1 = 0.0
            if z0 < FLUSH:
                z0 = 0.0
        y[i] = z1
    z[0], z[1] = z0, z1


@kernel
def cutoff_octaves(
    cutoff_hz: Array,
    envelope_octaves: Array,
    envelope: Array,
    horn_octaves: Array,
    loudness: Array,
    key_follow: Array,
    pitch: Array,
    lfo: Array,
    top_hz: float,
    y: Array,
) -> None:
    """Fill y (frames,) with equation (1), held between 10 Hz and `top_hz`; all arrays (frames,)."""
    last, factor = math.nan, 1.0
    for i in range(y.shape[0]):
        octaves = envelope_octaves[i] * envelope[i] + horn_octaves[i] * loudness[i] + lfo[i]
        octaves += key_follow[i] * (pitch[i] - 60.0) / 12.0
        if octaves != last:
            last = octaves
            factor = math.exp(math.log(2.0) * min(max(octaves, -24.0), 24.0))
        y[i] = min(max(cutoff_hz[i] * factor, 10.0), top_hz)


@kernel
def add_scaled(row: Array, gain: Array, y: Audio) -> None:
    """Add `row` (frames,) times gain (channels,) to y (channels, frames)."""
    for c in range(y.shape[0]):
        g = gain[c]
        for i in range(y.shape[1]):
            y[c, i] += g * row[i]


@kernel
def shifted_width(width: float, shift: Array, y: Array) -> None:
    """Fill y (frames,) with a pulse width that moves, held between 0.02 and 0.98."""
    for i in range(y.shape[0]):
        y[i] = min(max(width + shift[i], 0.02), 0.98)


@kernel
def add_moving(depth: float, scale: Array, wave: Array, y: Array) -> None:
    """Add `depth` times two rows to y; all arrays (frames,)."""
    for i in range(y.shape[0]):
        y[i] += depth * scale[i] * wave[i]


@kernel
def voice_amplifier(amplitude: Array, gate: Array, level: Array, lfo_db: Array, scale: float, y: Audio) -> None:
    """Multiply y (channels, frames) by amplitude, gate, level (a gain), `scale` and `lfo_db`; all rows (frames,)."""
    last, swell = 0.0, 1.0
    for i in range(y.shape[1]):
        if lfo_db[i] != last:
            last = lfo_db[i]
            swell = math.exp(last * (math.log(10.0) / 20.0))
        gain = scale * amplitude[i] * gate[i] * level[i] * swell
        if gain < FLUSH:
            gain = 0.0
        for c in range(y.shape[0]):
            y[c, i] *= gain
