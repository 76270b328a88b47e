"""The listening page plays, switches in time and loops."""

from __future__ import annotations

from chainsim.listen.page.writing import listening_page
from tests.browser.conftest import OpenPage
from tests.browser.synthetic import synthetic_page

CHOSEN = "() => chainsimPage.player.current"


def test_a_version_plays(open_page: OpenPage) -> None:
    page = open_page(listening_page(synthetic_page()))
    page.get_by_role("button", name="Version 2").click()
    page.wait_for_function("() => chainsimPage.player.playing && chainsimPage.player.position > 0.05")
    assert page.evaluate(CHOSEN) == "version-2"
