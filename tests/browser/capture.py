"""What leaves a page, sample by sample, and where in a known sound it comes from."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from scipy.signal import fftconvolve

from chainsim.units import Array

PIECE = 1024

_RECORDER = """registerProcessor("recorder", class extends AudioWorkletProcessor {
  process([[channel]]) {
    this.port.postMessage(channel ? channel.slice() : new Float32Array(128));
    return true;
  }
})"""

_BEGIN = """async (recorder) => {
  const { context, output } = chainsimPage.player;
  await context.resume();
  await context.audioWorklet.addModule("data:text/javascript," + encodeURIComponent(recorder));
  const tap = new AudioWorkletNode(context, "recorder");
  const pieces = [];
  tap.port.onmessage = (event) => pieces.push(event.data);
  output.connect(tap);
  context.all = () => {
    const all = new Float32Array(pieces.length * 128);
    pieces.forEach((piece, i) => all.set(piece, i * 128));
    return all;
  };
}"""

_WAIT = """async (seconds) => {
  const { context } = chainsimPage.player;
  const until = context.currentTime + seconds;
  while (context.currentTime < until) await new Promise((resolve) => setTimeout(resolve, 10));
}"""

_ALL_IN_BASE64 = """async () => {
  const bytes = new Uint8Array((await chainsimPage.player.context.all()).buffer);
  let text = "";
  for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
  return btoa(text);
}"""


def begin_capture(page: Any) -> None:
    """Keep from now on what the player gives out in real time; by a script, so open the page without its policy."""
    page.evaluate(_BEGIN, _RECORDER)


def wait(page: Any, seconds: float) -> None:
    """Let a clock that goes on by itself go on for so long at least."""
    page.evaluate(_WAIT, seconds)


def captured(page: Any) -> Array:
    """What has left the page until now, shape (frames,); a clock that stands still is at its end with that."""
    return np.frombuffer(base64.b64decode(page.evaluate(_ALL_IN_BASE64)), "<f4").astype(float)


def places(heard: Array, known: Array, piece: int = PIECE) -> Array:
    """Where in a known sound every other piece of what was heard comes from.

    Parameters
    ----------
    heard, known : ndarray, shape (frames,)
    piece : int
        Frames of a piece.

    Returns
    -------
    ndarray, shape (pieces, 3)
        First frame of a piece in `heard`; frame of `known` there; gain. Pieces in which less than 99.99 % of the energy
        is one place of `known` are left out: silence, fades, and what lies across a jump.
    """
    energy = np.concatenate([[0.0], np.cumsum(known**2)])
    powers = np.maximum(energy[piece:] - energy[:-piece], 1e-12)
    found: list[tuple[float, float, float]] = []
    for first in range(0, len(heard) - piece, 2 * piece):
        x = heard[first : first + piece]
        if not x @ x > 1e-6:
            continue
        expected = int(found[-1][1]) + first - int(found[-1][0]) if found else 0
        gain = _gain(x, known, expected)
        if gain is None:
            place = int(np.argmax(fftconvolve(known, x[::-1], mode="valid") ** 2 / powers))
            gain = _gain(x, known, place)
        else:
            place = expected
        if gain is not None:
            found.append((first, place, gain))
    return np.array(found).reshape(-1, 3)


def _gain(x: Array, known: Array, place: int) -> float | None:
    """With which gain a piece comes from a place; None if it does not."""
    y = known[place : place + len(x)]
    if len(y) < len(x):
        return None
    gain = float(x @ y / (y @ y))
    rest = x - gain * y
    return gain if rest @ rest < 1e-4 * (x @ x) else None
