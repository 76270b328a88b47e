"""The house on the command line: what is written, what is told."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

import chainsim
from tests.cli.running import complaint, names, ran, sketch_file

SKETCH = """
chain = ["gain"]
[house]
venue = "small club"
[house.seats.stool]
horn_m = 2.0
loudspeaker_m = 3.0
[house.seats.door]
horn_m = 8.0
loudspeaker_m = 27.0
[rooms.quay.house]
venue = "open air"
acoustic_horn_db = "off"
[rooms.quay.house.band]
file = "band.wav"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    sketch_file(tmp_path, SKETCH)
    rng = np.random.default_rng(2)
    soundfile.write(tmp_path / "take.wav", 0.1 * rng.normal(size=16_000), 16_000, subtype="FLOAT")
    soundfile.write(tmp_path / "band.wav", 0.1 * rng.normal(size=16_000), 16_000, subtype="FLOAT")
    return tmp_path


def test_a_seat_is_rendered_and_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch, take, out = folder / "sketch.toml", folder / "take.wav", folder / "out.wav"
    told = ran(capsys, "render", sketch, take, "-o", out, "--seat", "stool", "--record")
    assert told.code == 0
    assert "out.wav: seat stool, " in told.out
    record = json.loads((folder / "out.wav.json").read_text())
    assert record["seat"] == "stool"
    assert f"{record['louder_by_lu']:+.1f} LU against the take" in told.out
    assert f"{record['against_feed_lu']:+.1f} LU against the feed" in told.out
    x = soundfile.read(take)[0]
    heard = chainsim.render(chainsim.load_sketch(sketch), x, 16_000.0, seat="stool").audio
    assert soundfile.read(out)[0] == pytest.approx(heard, abs=1e-6)
    # Loudspeaker 1 / 3^2 = 0.111 and, of the room, 312 T exp(-0.04 r / T) / (Q V) = 0.077; horn 0.1 / 2^2 = 0.025 and
    # 0.016: together 0.229, -6.4 dB; white noise has less of it, since the room takes the treble away sooner.
    assert record["against_feed_lu"] == pytest.approx(-6.4, abs=0.7)
    assert record["frames"] == len(heard)


def test_the_band_comes_under_the_feed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch, take, out = folder / "sketch.toml", folder / "take.wav", folder / "out.wav"
    assert ran(capsys, "render", sketch, take, "-o", out, "--room", "quay", "--with-band").code == 0
    under = soundfile.read(out)[0] - soundfile.read(take)[0]
    band = soundfile.read(folder / "band.wav")[0]
    gain = float(under @ band / (band @ band))
    assert under == pytest.approx(gain * band, abs=1e-6)


def test_what_does_not_go(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch, take, out = folder / "sketch.toml", folder / "take.wav", folder / "out.wav"

    def told(*options: str) -> str:
        return complaint(ran(capsys, "render", sketch, take, "-o", out, *options))

    assert told("--seat", "dor") == 'sketch.toml: house.seats: no seat "dor"; did you mean "door"?'
    assert told("--with-band").startswith("sketch.toml: house.band: there is none to be heard")
    assert "at a seat the band plays anyway" in told("--seat", "door", "--with-band", "--room", "quay")
    assert "--write-trims is for the feed alone" in told("--seat", "door", "--loudness", "-23", "--write-trims")
    (folder / "band.wav").unlink()
    assert told("--seat", "door", "--room", "quay").startswith(
        'sketch.toml: house.band.file: file "band.wav": not found'
    )
    assert complaint(ran(capsys, "check", sketch, "--room", "quay")).startswith("sketch.toml: house.band.file: file")
    assert names(folder) == ["sketch.toml", "take.wav"]


def test_check_tells_of_every_seat(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = ran(capsys, "check", folder / "sketch.toml")
    assert told.code == 0
    rows = [line.split() for line in told.out.splitlines() if line.startswith(("stool", "door"))]
    # -10 - 20 log10(2), 2 m / 343.2 m/s; -20 log10(3), 3 m / 343.2 m/s.
    assert rows[0][:3] == ["stool", "-16.0", "5.8"]
    assert rows[0][4:6] == ["-9.5", "8.7"]
    assert rows[0][7] == "+2.9"
    assert "House: small club (500 m3, decay 0.6 s)" in told.out
    assert "- seat stool: horn and loudspeaker come 2.9 ms apart" in told.out
    assert "- seat door: the loudspeaker comes 55 ms after the horn and is 1 dB softer" in told.out


def test_check_in_a_room_and_as_json(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = ran(capsys, "check", folder / "sketch.toml", "--room", "quay", "--json")
    house = json.loads(told.out)["sketch"]["house"]
    assert [seat["name"] for seat in house["seats"]] == ["stool", "door"]
    assert house["seats"][0]["horn"]["direct_db"] is None
    assert house["title"].startswith("open air")
    assert "House: open air" in ran(capsys, "check", folder / "sketch.toml", "--room", "quay").out
