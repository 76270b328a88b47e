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
  const pieces = (window.captured = []);
  tap.port.onmessage = (event) => pieces.push(event.data);
  output.connect(tap);
}"""

_END = """() => {
  const all = new Float32Array(captured.length * 128);
  captured.forEach((piece, i) => all.set(piece, i * 128));
  const bytes = new Uint8Array(all.buffer);
  let text = "";
  for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
  return btoa(text);
}"""


def begin_capture(page: Any) -> None:
    """From now on keep what the player gives out; the recorder is a script, so open the page without its policy."""
    page.evaluate(_BEGIN, _RECORDER)


def captured(page: Any) -> Array:
    """What has left the page since, shape (frames,)."""
    return np.frombuffer(base64.b64decode(page.evaluate(_END)), "<f4").astype(float)


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
    found = []
    for first in range(0, len(heard) - piece, 2 * piece):
        x = heard[first : first + piece]
        if not x @ x > 1e-6:
            continue
        products = fftconvolve(known, x[::-1], mode="valid")
        powers = energy[piece:] - energy[:-piece]
        place = int(np.argmax(products**2 / np.maximum(powers, 1e-12)))
        gain = products[place] / powers[place]
        rest = x - gain * known[place : place + piece]
        if rest @ rest < 1e-4 * (x @ x):
            found.append((first, place, gain))
    return np.array(found).reshape(-1, 3)
