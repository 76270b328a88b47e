"""Pages that play: a whole document in one file, or a folder with the sounds beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from chainsim.listen.page.bundle import content_policy, script, style
from chainsim.listen.page.model import ListeningPage, PageSound
from chainsim.listen.page.plain_data import as_base64, as_json, listening_data, sound_data

if TYPE_CHECKING:
    import jinja2


def html_page(
    template: str, *, title: str, data: Mapping[str, Any], sounds: Sequence[PageSound], **context: Any
) -> str:
    """One file that plays: the sounds, the script and the style are inside, and nothing else may be loaded.

    Parameters
    ----------
    template : str
        File name of a template that extends `base.html.j2`.
    title : str
    data : mapping
        What the script needs to know beside the title and the sounds, in plain values: at least `sampleRate`.
    sounds : sequence of PageSound
    **context
        What the template needs.

    Returns
    -------
    str
        A whole document. Every name in it is escaped; the only markup that is taken as it is, is that of drawings.
    """
    audio = [(sound.key, as_base64(sound.audio)) for sound in sounds]
    told = {"title": title, **data, "sounds": [sound_data(sound) for sound in sounds]}
    return _document(template, title, told, audio, content_policy(), context)


def listening_page(page: ListeningPage) -> str:
    """A page of versions as one file."""
    return html_page(
        "listening.html.j2", title=page.title, data=listening_data(page), sounds=page.sounds, page=page, watched=False
    )


def _document(
    template: str,
    title: str,
    data: Mapping[str, Any],
    audio: Sequence[tuple[str, str]],
    policy: str,
    context: Mapping[str, Any],
) -> str:
    from markupsafe import Markup

    return (
        _environment()
        .get_template(template)
        .render(
            title=title,
            page_data=Markup(as_json(data)),
            audio=audio,
            policy=policy,
            style=Markup(style()),
            script=Markup(script()),
            **context,
        )
    )


def _environment() -> jinja2.Environment:
    import jinja2

    return jinja2.Environment(
        loader=jinja2.PackageLoader("chainsim.listen.page"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
