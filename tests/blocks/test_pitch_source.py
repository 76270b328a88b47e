"""Where the blocks that follow a pitch may take it from: one set of settings for all of them."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from chainsim.block import block_type
from chainsim.blocks._synth_settings import PitchSource

FOLLOWERS = ["following_synth", "wandering_bass"]


@pytest.mark.parametrize("name", FOLLOWERS)
def test_every_follower_takes_the_same_sources(name: str) -> None:
    settings = block_type(name).settings_type
    assert issubclass(settings, PitchSource)
    chosen = settings(source="part.mid", midi_channel=10)
    assert (chosen.source, chosen.midi_channel) == ("part.mid", 10)
    assert settings().midi_channel == 0


@pytest.mark.parametrize("name", FOLLOWERS)
@pytest.mark.parametrize(
    ("given", "message"),
    [({"midi_channel": 17}, "allowed 0 ... 16"), ({"source": "part.wav"}, "or the name of a .mid file")],
)
def test_what_is_no_source_is_refused(name: str, given: dict[str, object], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        block_type(name).settings_type(**given)
