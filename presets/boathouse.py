"""Makes boathouse.flac: an invented boathouse, computed, not recorded. `python presets/boathouse.py` writes it anew.

A shed of 14 x 6 x 4.5 m over water, its seaward door open; the horn stands inside, two microphones 40 cm apart hang
behind its player. Every path from wall to wall is an image of the horn [1]_; images are moved a little, for no plank is
straight, so that paths do not line up as they would between mirrors [2]_. Planks give back less at each turn the higher
the sound is; water gives back nearly all; the door hardly anything.

References
----------
.. [1] J. B. Allen, D. A. Berkley, "Image method for efficiently simulating small-room acoustics", JASA 65(4), 1979.
.. [2] E. De Sena, N. Antonello, M. Moonen, T. van Waterschoot, "On the modeling of rectangular geometries in room
   acoustic simulations", IEEE/ACM TASLP 23(4), 2015.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 48_000
LENGTH_S = 1.0
SOUND_M_PER_S = 343.2
SIZE_M = np.array([14.0, 6.0, 4.5])
HORN_M = np.array([5.2, 2.6, 2.4])
MICROPHONES_M = np.array([[7.9, 3.0, 2.9], [7.9, 3.4, 2.9]])
GIVEN_BACK = np.array([[0.90, 0.30], [0.92, 0.91], [0.97, 0.88]])
"""By the walls at 0 and at SIZE_M of each direction: end and door, sides, water and roof."""
DULLED_HZ = 11_000.0
"""One turn from planks is 3 dB down there."""
MOVED_M = 0.06
PEAK = 0.5


def response() -> np.ndarray:
    """The boathouse from the horn to both microphones, shape (frames, 2), beginning with the direct sound."""
    rng = np.random.default_rng(1907)
    frames, reach_m = round(LENGTH_S * RATE_HZ), (LENGTH_S + 0.02) * SOUND_M_PER_S
    places, gains, turns = images(reach_m)
    moved = places + MOVED_M * rng.uniform(-1.0, 1.0, places.shape) * (turns > 0)[:, None]
    freq_hz = np.fft.rfftfreq(2 * frames, 1.0 / RATE_HZ)
    planks = 1.0 / np.sqrt(1.0 + (freq_hz / DULLED_HZ) ** 2)
    found = np.empty((frames, 2))
    first_s = min(float(np.linalg.norm(HORN_M - m)) for m in MICROPHONES_M) / SOUND_M_PER_S
    for side, microphone in enumerate(MICROPHONES_M):
        away_m = np.linalg.norm(moved - microphone, axis=1)
        spectrum = np.zeros(freq_hz.size, complex)
        for n in range(int(turns.max()) + 1):
            of_n = turns == n
            spectrum += planks**n * np.fft.rfft(
                arrivals(away_m[of_n] / SOUND_M_PER_S - first_s, gains[of_n] / away_m[of_n], 2 * frames)
            )
        found[:, side] = np.fft.irfft(spectrum)[:frames]
    fade = np.minimum((frames - np.arange(frames)) / (0.05 * RATE_HZ), 1.0)
    return PEAK / np.max(np.abs(found)) * found * fade[:, None]


def images(reach_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places of the horn's images within reach, what the walls give back on their way, and how many turns it has."""
    axes = []
    for size_m, horn_m, (low, high) in zip(SIZE_M, HORN_M, GIVEN_BACK, strict=True):
        n = np.arange(-int(reach_m / size_m) - 2, int(reach_m / size_m) + 3)
        place = np.where(n % 2 == 0, n * size_m + horn_m, (n + 1) * size_m - horn_m)
        # An image n rooms away has met the two walls in turn, the one on its own side first.
        highs, lows = np.where(n > 0, (n + 1) // 2, -n // 2), np.where(n > 0, n // 2, (1 - n) // 2)
        axes.append((place, high**highs * low**lows, np.abs(n)))
    place = np.stack(np.meshgrid(*(a[0] for a in axes), indexing="ij"), axis=-1).reshape(-1, 3)
    gain = np.einsum("i,j,k->ijk", *(a[1] for a in axes)).ravel()
    turns = np.add.outer(np.add.outer(axes[0][2], axes[1][2]), axes[2][2]).ravel()
    near = np.linalg.norm(place - MICROPHONES_M.mean(axis=0), axis=1) < reach_m
    return place[near], gain[near], turns[near]


def arrivals(time_s: np.ndarray, gain: np.ndarray, frames: int) -> np.ndarray:
    """Pulses between samples: windowed sinc functions of 32 samples."""
    y = np.zeros(frames + 64)
    at = time_s * RATE_HZ
    whole = np.floor(at).astype(int)
    for k in range(-15, 17):
        x = k - (at - whole)
        place = whole + k
        inside = (place >= 0) & (place < frames)
        pulse = gain * np.sinc(x) * (0.5 + 0.5 * np.cos(np.pi * x / 16.0))
        np.add.at(y, place[inside], pulse[inside])
    return y[:frames]


if __name__ == "__main__":
    target = Path(__file__).with_suffix(".flac")
    with soundfile.SoundFile(target, "w", RATE_HZ, 2, "PCM_16", format="FLAC") as file:
        file.title = "Boathouse"
        file.comment = "Invented and synthetic: the impulse response of a boathouse that was never built"
        file.write(response())
