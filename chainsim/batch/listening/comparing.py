"""Versions of one take beside each other, to be heard fairly.

>>> page = compare_sounds(["waltz.toml", "march.toml"], "solo.wav")  # doctest: +SKIP
>>> write_page(page, "page.html")  # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory

from chainsim.audio.writing import write_text_whole
from chainsim.batch.listening.excerpt import Excerpt
from chainsim.batch.listening.folder_tables import BATCH, table_of
from chainsim.batch.listening.from_batch import versions_of_batch
from chainsim.batch.listening.from_orders import versions_of_orders
from chainsim.batch.listening.from_sketches import count_sounds, make_versions
from chainsim.batch.listening.made import MadeVersions
from chainsim.batch.listening.page import PageOptions, build_page
from chainsim.batch.listening.take_check import check_page_take
from chainsim.batch.listening.targets import check_page_target, is_one_file
from chainsim.batch.listening.telling import Progress, untold
from chainsim.errors import SettingError
from chainsim.listen.page.model import ListeningPage
from chainsim.listen.page.sounds import LOUDNESS_LUFS
from chainsim.sketch.model import Sketch


def compare_sounds(
    sources: Iterable[Sketch | str | Path] | Sketch | str | Path,
    take: str | Path | None = None,
    *,
    patches: Sequence[str] = (),
    room: str | None = None,
    page: int | None = None,
    excerpt_s: tuple[float, float] | None = None,
    loudness_lufs: float = LOUDNESS_LUFS,
    lossy: bool = False,
    wires: bool | None = None,
    store: str | Path | None = None,
    threads: int | None = None,
    versions_only: bool = False,
    progress: Progress = untold,
) -> ListeningPage:
    """Make a listening page of versions of a take.

    Parameters
    ----------
    sources : paths or Sketches, or one; or one folder
        Sketches: of one with patches each patch is a version, and it as written, if it has cues. Or a folder that
        `chainsim batch` or `chainsim orders` has made.
    take : path, optional
        A folder knows its take, and needs to be told only which one if there are several.
    patches : sequence of str
        Of sketches with patches, these alone.
    room : str, optional
        As the sketches are set in this room.
    page : int, optional
        Of more than 24 versions, those of this page, from 1 on; the first stands on each.
    excerpt_s : (from, to), optional
        The part of the take that is on the page, in seconds; by default all of it.
    loudness_lufs : float, -60 to 0
        To which all are brought.
    lossy : bool
        MP3 instead of FLAC.
    wires : bool, optional
        Whether the wires of each version can be heard; by default if there are at most three.
    store : path, optional
        Where renders are kept until the next call; by default they are not.
    threads : int, optional
        That render at the same time; by default one a core.
    versions_only : bool
        The take and the versions alone, without pictures, wires and board: what a reel needs.
    progress : callable, optional
        Told of what is being done, how much of it is done, and how much there is.

    Returns
    -------
    ListeningPage
        `write_page` writes it, `write_reel` plays it.

    Raises
    ------
    SketchError, SettingError
        For faults of the sketches, options that do not fit, more than 24 versions of which no page is chosen.
    AudioError
        If the take cannot be read, is silent or shorter than 0.4 s, or the page would hold more than 200 MB of sound.
    StoreError
        If a folder is not one of results of this version, or a sound in it is missing or has changed.
    """
    if not -60.0 <= loudness_lufs <= 0.0:
        raise SettingError(f"loudness_lufs = {loudness_lufs:g} LUFS, allowed -60 ... 0 LUFS")
    given = [sources] if isinstance(sources, Sketch | str | Path) else list(sources)
    at = None if take is None else Path(take)
    excerpt = None if excerpt_s is None else Excerpt(*excerpt_s)
    check_take(given, at, excerpt_s=excerpt_s)
    with ExitStack() as stack:
        made = _from_folder(given, at, patches, room, page)
        if made is not None:
            check_page_take(made.take, excerpt)
        else:
            assert at is not None
            kept = store or stack.enter_context(TemporaryDirectory(prefix="chainsim-"))
            made = make_versions(
                given, at, Path(kept), patches=patches, room=room, page=page, threads=threads, told=progress
            )
        return build_page(made, PageOptions(excerpt, loudness_lufs, lossy, wires, versions_only, threads), progress)


def write_page(page: ListeningPage, path: str | Path, *, watched: bool = False) -> None:
    """Write a page as one HTML file or, if the name does not end with .html or .htm, as a folder.

    Parameters
    ----------
    page : ListeningPage
    path : path
    watched : bool
        Of a folder: that the open page looks whether it has been written again.

    Raises
    ------
    AudioError
        If it cannot be written there, or a folder there holds other things than a page.
    """
    from chainsim.listen.page.writing import listening_page, write_listening_folder

    check_page_target(Path(path))
    if is_one_file(path):
        write_text_whole(path, listening_page(page))
    else:
        write_listening_folder(page, Path(path), watched=watched)


def check_take(
    sources: Sequence[Sketch | str | Path], take: str | Path | None, *, excerpt_s: tuple[float, float] | None = None
) -> None:
    """Refuse a take that no page can be made of, before anything is rendered; a folder knows its own.

    Raises
    ------
    SettingError, AudioError
        As `compare_sounds` does.
    """
    if _is_folder(sources):
        return
    if take is None:
        raise SettingError("sketches need a take to go through: --take FILE")
    check_page_take(Path(take), None if excerpt_s is None else Excerpt(*excerpt_s))


def sounds_to_make(
    sources: Sequence[Sketch | str | Path],
    *,
    patches: Sequence[str] = (),
    room: str | None = None,
    page: int | None = None,
) -> tuple[int, int]:
    """How many sounds a page needs rendered: versions, and those that a foot can call, at most; of a folder none.

    Raises
    ------
    SketchError, SettingError
        As `compare_sounds` does.
    """
    if _is_folder(sources):
        return 0, 0
    return count_sounds(sources, patches, room, page)


def _is_folder(sources: Sequence[Sketch | str | Path]) -> bool:
    return any(not isinstance(source, Sketch) and Path(source).is_dir() for source in sources)


def _from_folder(
    given: Sequence[Sketch | str | Path],
    take: Path | None,
    patches: Sequence[str],
    room: str | None,
    page: int | None,
) -> MadeVersions | None:
    """What a folder of results holds; None if sketches are given."""
    folders = [Path(source) for source in given if not isinstance(source, Sketch) and Path(source).is_dir()]
    if not folders:
        return None
    if len(given) > 1:
        raise SettingError(f"{folders[0]}: is a folder of results, which goes alone on a page; name it, or sketches")
    if room is not None:
        raise SettingError(f"{folders[0]}: was rendered already; a room is chosen where sketches are rendered")
    kind, table = table_of(folders[0])
    if kind is BATCH:
        return versions_of_batch(folders[0], table, take=take, patches=patches, page=page)
    if patches:
        raise SettingError(f"{folders[0]}: holds the orders of one chain and no patches to choose from")
    return versions_of_orders(folders[0], table, take=take, page=page)
