"""Pages that play: a whole document in one file, or a folder with the sounds beside it."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chainsim.audio.writing import write_text_whole
from chainsim.errors import AudioError
from chainsim.listen.page.bundle import FOLDER_SOURCES, content_policy, script, style
from chainsim.listen.page.figures_table import figures_table
from chainsim.listen.page.model import ListeningPage, PageSound
from chainsim.listen.page.plain_data import as_base64, as_json, digest, listening_data, sound_data
from chainsim.listen.page.watcher import tell_open_page

if TYPE_CHECKING:
    import jinja2

SOUNDS = "sounds"
INDEX, WHOLE = "index.html", "page.js"
_SOUND_FILE = re.compile(r"[a-z0-9][a-z0-9_-]*\.[0-9a-f]{16}\.js")


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
    return _document(template, title, told, content_policy(), {"audio": audio, **context})


def listening_page(page: ListeningPage) -> str:
    """A page of versions as one file.

    Returns
    -------
    str
        A whole document that loads nothing.
    """
    return html_page(
        _LISTENING, title=page.title, data=listening_data(page), sounds=page.sounds, **_listening_context(page)
    )


def write_listening_folder(page: ListeningPage, folder: Path, *, watched: bool = False) -> None:
    """Write a page of versions as a folder, whose sounds are read when they are first wanted.

    FOLDER/index.html                the page, to be opened from disk
    FOLDER/sounds/KEY.DIGEST.js      a sound each
    FOLDER/page.js, FOLDER/now.js    if watched: the page once more, and which one is the newest (`watcher.NOW`)

    A watched page that is open asks for `now.js` once a second and takes up what has been written since, without
    losing its place. Sounds of an earlier page of this folder are removed, whatever else lies there is left alone.

    Parameters
    ----------
    page : ListeningPage
    folder : Path
        Made if need be.
    watched : bool

    Raises
    ------
    AudioError
        If a file cannot be written.
    """
    sounds = folder / SOUNDS
    try:
        sounds.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise AudioError(f"{sounds}: {error.strerror}") from error
    names = {sound.key: f"{sound.key}.{digest(sound)}.js" for sound in page.sounds}
    for sound in page.sounds:
        target = sounds / names[sound.key]
        if not target.exists():
            write_text_whole(target, f"chainsimReceive({as_json(digest(sound))},{as_json(as_base64(sound.audio))});\n")
    data = {
        "title": page.title,
        **listening_data(page),
        "sounds": [{**sound_data(sound), "file": f"{SOUNDS}/{names[sound.key]}"} for sound in page.sounds],
    }
    policy, context = content_policy(*FOLDER_SOURCES), {"audio": (), **_listening_context(page)}
    text = _document(_LISTENING, page.title, data, policy, context)
    if watched:
        stamp = hashlib.sha256(text.encode()).hexdigest()
        text = _document(_LISTENING, page.title, {**data, "stamp": stamp}, policy, context)
        write_text_whole(folder / WHOLE, f"chainsimWhole({as_json(text)});\n")
    write_text_whole(folder / INDEX, text)
    if watched:
        tell_open_page(folder, {"stamp": stamp})
    _remove_others(sounds, set(names.values()))


_LISTENING = "listening.html.j2"


def _listening_context(page: ListeningPage) -> dict[str, Any]:
    take = next((sound for sound in page.sounds if sound.role == "take"), None)
    seconds = page.sounds[0].frames / page.sample_rate_hz if page.sounds else 0.0
    apart = {sound.key for sound in page.sounds if not sound.equally_loud}
    return {"page": page, "take": take, "seconds": seconds, "apart": apart, "figures": figures_table(page.cards)}


def _document(template: str, title: str, data: Mapping[str, Any], policy: str, context: Mapping[str, Any]) -> str:
    from markupsafe import Markup

    return (
        _environment()
        .get_template(template)
        .render(
            title=title,
            page_data=Markup(as_json(data)),
            policy=policy,
            style=Markup(style()),
            script=Markup(script()),
            **context,
        )
    )


@cache
def _environment() -> jinja2.Environment:
    import jinja2

    return jinja2.Environment(
        loader=jinja2.PackageLoader("chainsim.listen.page"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _remove_others(sounds: Path, kept: set[str]) -> None:
    for path in sounds.iterdir():
        if path.name not in kept and _SOUND_FILE.fullmatch(path.name):
            with suppress(OSError):
                path.unlink()
