"""What notebooks are given: well-formed, escaped HTML that plays and draws."""

from __future__ import annotations

import base64
import io
import math
import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chainsim.batch.checking import check_sketch
from chainsim.batch.matrix import batch_report
from chainsim.batch.matrix.batch_report import Batch, BatchRow
from chainsim.batch.orders.grouping import Group
from chainsim.batch.orders.relations import Common
from chainsim.batch.orders.report import Order, OrderGroup, Orders
from chainsim.batch.orders.variants import Variant
from chainsim.batch.sounds.sound_figures import SoundFigures
from chainsim.graph.rendering import Rendering
from chainsim.listen import notebook
from chainsim.listen.notebook import notebook_html, player_of_file, table_html
from chainsim.sketch.loading import parse_sketch

RATE_HZ = 8_000
VOID = {"br"}


class Seen(HTMLParser):
    """Tags with their attributes, and text; fails where tags do not nest."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self._open: list[str] = []
        self.feed(html)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text.append(data)

    def attributes(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


def decoded(source: str | None) -> tuple[np.ndarray, int]:
    assert source is not None
    kind, _, data = source.partition(",")
    assert kind == "data:audio/flac;base64"
    samples, rate_hz = soundfile.read(io.BytesIO(base64.b64decode(data, validate=True)), always_2d=True)
    return samples, rate_hz


def test_a_sketch_is_its_drawing() -> None:
    sketch = parse_sketch('title = "<script>alert(1)</script>"\nkey = "G dorian"\nchain = ["gain", "pan"]\n[patches.a]')
    html = sketch._repr_html_()
    seen = Seen(html)
    assert "<script" not in html
    assert "<script>alert(1)</script>" in seen.text
    assert len(seen.attributes("svg")) == 1
    assert {"gain", "pan", "the horn"} <= set(seen.text)
    assert "120 bpm · G dorian · drawn as written; patches: a" in seen.text


def test_a_rendering_is_a_player() -> None:
    audio = np.random.default_rng(3).uniform(-0.5, 0.5, (RATE_HZ, 2))
    seen = Seen(Rendering(audio, RATE_HZ, latency_samples=16.0, warnings=["<b>loud</b>"])._repr_html_())
    (player,) = seen.attributes("audio")
    assert "controls" in player
    samples, rate_hz = decoded(player["src"])
    assert rate_hz == RATE_HZ
    np.testing.assert_allclose(samples, audio, atol=2.0**-23)  # 24 bit
    (facts,) = (text for text in seen.text if " · " in text)
    lufs = float(facts.split(" · ")[2].removesuffix(" LUFS"))
    assert facts == f"1.0 s · stereo · {lufs} LUFS · largest sample -6.0 dBFS · latency 2.0 ms"
    assert "<b>loud</b>" in seen.text


def test_what_is_over_full_scale_is_played_quieter_and_said() -> None:
    audio = np.zeros((800, 1))
    audio[400] = -2.0
    seen = Seen(notebook_html(Rendering(audio, RATE_HZ)))
    samples, _ = decoded(seen.attributes("audio")[0]["src"])
    assert samples.min() == pytest.approx(-1.0, abs=2.0**-22)
    assert "louder than full scale: the player has it 6.0 dB quieter" in seen.text


def test_of_a_long_sound_the_player_has_the_beginning() -> None:
    seen = Seen(notebook_html(Rendering(np.zeros((121 * RATE_HZ, 1)), RATE_HZ)))
    assert decoded(seen.attributes("audio")[0]["src"])[0].shape == (120 * RATE_HZ, 1)
    assert "the player has the first 120 s" in seen.text
    assert "121.0 s · mono · silent · latency 0.0 ms" in seen.text


def test_nothing_rendered_has_no_player() -> None:
    seen = Seen(notebook_html(Rendering(np.zeros((0, 1)), RATE_HZ)))
    assert seen.attributes("audio") == []
    assert "0.0 s · mono · latency 0.0 ms" in seen.text


def test_a_table_of_players(tmp_path: Path) -> None:
    file = tmp_path / "a.wav"
    soundfile.write(file, np.full(80, 0.25), RATE_HZ, subtype="FLOAT")
    cells = ["<audio onerror=x>", player_of_file(file, 'group "1"'), player_of_file(tmp_path / "gone.wav", "group 2")]
    seen = Seen(table_html("a & b", ["name", "heard", "not heard"], [cells], ["w < x"]))
    (player,) = seen.attributes("audio")
    assert player["aria-label"] == 'group "1"'
    assert "onerror" not in player
    np.testing.assert_allclose(decoded(player["src"])[0], 0.25)
    assert {"a & b", "<audio onerror=x>", "no file", "w < x"} <= set(seen.text)


def test_words_beside_the_player_of_a_file_say_what_it_has(tmp_path: Path) -> None:
    file = tmp_path / "a.wav"
    soundfile.write(file, np.full(121 * RATE_HZ, 2.0), RATE_HZ, subtype="FLOAT")
    html = player_of_file(file, "a")
    said = "louder than full scale: the player has it 6.0 dB quieter; the player has the first 120 s"
    assert Seen(table_html("a", ["heard"], [[html]])).text[-1] == said


def test_many_players_share_what_a_notebook_may_hold(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(notebook, "MOST_BYTES", 400_000)
    file = tmp_path / "noise.wav"
    soundfile.write(file, np.random.default_rng(5).uniform(-0.5, 0.5, 12 * RATE_HZ), RATE_HZ, subtype="FLOAT")
    # Noise does not shrink: at 3 bytes a sample it is 288 kB, in base64 384 kB. Half of what there is does for an MP3,
    # a fortieth for the beginning of one.
    as_mp3 = "the player has it as MP3"
    for among, kind, words in (
        (1, "flac", ""),
        (2, "mpeg", as_mp3),
        (40, "mpeg", rf"the player has the first \d s; {as_mp3}"),
    ):
        html = player_of_file(file, "noise", among=among)
        assert len(html) < 400_000 / among + 300
        seen = Seen(html)
        assert re.fullmatch(words, "".join(seen.text))
        assert (seen.attributes("audio")[0]["src"] or "").startswith(f"data:audio/{kind}")


def found_orders(files: tuple[str | None, ...]) -> Orders:
    """Two orders in a group each, the first with these files."""
    names = ("gain > drive", "drive > gain")
    orders = tuple(Order(Variant(n, (), parse_sketch("chain = []"), i == 0), i, ()) for i, n in enumerate(names))
    common = Common(((),), "drive <after> gain", 1, 0, 1)
    groups = tuple(
        OrderGroup(Group((i,), 1, i, 0.0, 0.0, 1 - i, 3.0, 3.0), common, f) for i, f in enumerate((files, ()))
    )
    return Orders(
        title="<i>two</i>", takes=("solo.wav",), orders=orders, groups=groups, identical=(), swaps=(), forks=(),
        distances=np.zeros((2, 2)), residuals_db=np.zeros((2, 2)), threshold_steps=1.0, possible=2, notes=(),
        left_out={}, failed=("solo.wav: <cut off>",), block_runs=4, single_block_runs=4, rendered=2, reused=0,
        warnings=(),
    )  # fmt: skip


def test_orders_are_a_table_of_groups(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(notebook, "MOST_BYTES", 4_000)
    file = tmp_path / "group 1.wav"
    soundfile.write(file, np.random.default_rng(6).uniform(-0.5, 0.5, 800), RATE_HZ, subtype="FLOAT")
    seen = Seen(found_orders((str(file),))._repr_html_())
    assert len(seen.attributes("tr")) == 3
    assert "the player has it as MP3" not in seen.text
    # Two of them share what is enough for one.
    assert "the player has it as MP3" in Seen(found_orders((str(file), str(file)))._repr_html_()).text
    assert [player["aria-label"] for player in seen.attributes("audio")] == ["group 1: gain > drive"]
    assert "<i>two</i>: 2 orders, 2 groups that sound alike" in seen.text
    assert {"sound of solo", "drive > gain", "drive <after> gain", "solo.wav: <cut off>"} <= set(seen.text)


def test_orders_without_files_have_no_players() -> None:
    seen = Seen(found_orders(())._repr_html_())
    assert seen.attributes("audio") == []
    assert not any(text.startswith("sound of") for text in seen.text)
    assert "no file" in Seen(found_orders((None,))._repr_html_()).text


def test_a_batch_is_a_table_of_sounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "a.wav"
    soundfile.write(file, np.full(80, 0.25), RATE_HZ, subtype="FLOAT")
    figures = SoundFigures(8_000.0, 1, 80, 2.5, -20.04, -math.inf, math.nan, None, math.nan, math.nan)
    row = BatchRow("<b>.toml", None, None, {"wah.q": 0.7}, Path("solo.wav"), "", "", key="1", figures=figures)
    rows = (
        replace(row, file=file, made=True, patch="gulls"),
        replace(row, key="2", figures=None, error="cut <off>"),
        replace(row, key="3"),
    )
    seen = Seen(Batch(tmp_path, rows, warnings=("w < x",))._repr_html_())
    assert seen.text[0] == "3 sounds: 1 rendered, 1 reused, 1 failed"
    assert seen.text[1:9] == ["sketch", "patch", "wah.q", "take", "LUFS", "true peak dBTP", "latency ms", "sound"]
    assert seen.text[9:16] == ["<b>.toml", "gulls", "0.7", "solo.wav", "-20.0", "-", "2.5"]
    assert [p["aria-label"] for p in seen.attributes("audio")] == ["<b>.toml, gulls, 0.7, solo.wav"]
    assert {"as written", "cut <off>", "no file", "w < x"} <= set(seen.text)
    monkeypatch.setattr(batch_report, "MOST_SHOWN", 1)
    assert "and 2 more sounds, in results.csv" in Seen(Batch(tmp_path, rows)._repr_html_()).text


def test_a_check_is_its_chain_and_a_table_of_patches() -> None:
    sketch = parse_sketch(
        'title = "<i>"\nchain = ["gain", "pan"]\n[blocks.gain]\nlatency_ms = 5\n[patches.a]\nengage = ["pan"]'
    )
    seen = Seen(check_sketch(sketch)._repr_html_())
    assert {"input ─► gain ─► pan ─► out", "<i>: for takes of 48000 Hz"} <= set(seen.text)
    at = seen.text.index("engaged") + 1
    assert seen.text[at : at + 8] == ["as written", "5.0", "0.0", "gain, pan", "a", "0.0", "0.0", "pan"]


def test_nothing_else_is_shown() -> None:
    with pytest.raises(TypeError, match="found int, allowed Sketch and Rendering"):
        notebook_html(3)


def test_what_notebooks_need_is_loaded_when_they_ask() -> None:
    code = "import sys, chainsim.sketch.model; print('chainsim.listen.notebook' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"
