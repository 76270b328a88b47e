"""The one jit decorator: numba, compiled on first use, cached by a hash of the package's own sources.

Numba's disk cache does not notice a change in a kernel that is imported from another file, so the cache folder's
name holds a hash of every source file. Nothing is compiled, read or set at import.
"""

from __future__ import annotations

import functools
import hashlib
import importlib
import os
import shutil
import sys
import threading
import time
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any

_lock = threading.RLock()
_listeners: list[Callable[[str], None]] = []


class Kernel:
    """A numba function that compiles when first called.

    Kernels take C-contiguous float64 arrays, int64 arrays, ints, floats, and NamedTuples of these, with their state in
    the argument list; they allocate nothing, raise nothing and read no globals but numbers and other kernels.
    """

    def __init__(self, function: Callable[..., Any]) -> None:
        functools.update_wrapper(self, function)
        self.function = function
        self._dispatcher: Any = None

    def __call__(self, *arguments: Any) -> Any:
        if self._dispatcher is None:
            self.compiled()
        return self._dispatcher(*arguments)

    def compiled(self) -> Any:
        """Return numba's dispatcher, made on the first call."""
        with _lock:
            if self._dispatcher is None:
                self._dispatcher = _dispatcher(self.function)
        return self._dispatcher

    @property
    def signature_count(self) -> int:
        """How many argument type lists have been compiled or loaded: one, if callers keep to the rules."""
        return 0 if self._dispatcher is None else len(self._dispatcher.signatures)


def kernel(function: Callable[..., Any]) -> Kernel:
    """Make `function` a numba kernel: cached, without the interpreter lock, no fast-math, numpy's error model."""
    return Kernel(function)


def on_first_compile(listener: Callable[[str], None]) -> None:
    """Have `listener` told, once, when kernels are about to be compiled into an empty cache folder."""
    _listeners.append(listener)


def _dispatcher(function: Callable[..., Any]) -> Any:
    import numba

    config: Any = importlib.import_module("numba.core.config")

    linked = types.FunctionType(
        function.__code__,
        {
            k: v.compiled() if isinstance(v, Kernel) else v
            for k, v in function.__globals__.items()
            if k in function.__code__.co_names or k == "__name__"
        },
        function.__name__,
        function.__defaults__,
        function.__closure__,
    )
    linked.__module__, linked.__qualname__ = function.__module__, function.__qualname__
    dispatcher = numba.njit(nogil=True, error_model="numpy", fastmath=False)(linked)
    folder = cache_folder()
    if not config.DISABLE_JIT and _usable(folder):
        before = config.CACHE_DIR
        config.CACHE_DIR = str(folder)
        try:
            dispatcher.enable_caching()
        finally:
            config.CACHE_DIR = before
    return dispatcher


@functools.cache
def _usable(folder: Path) -> bool:
    """Make the folder where it is missing; say so, since all kernels are then compiled anew."""
    if folder.is_dir():
        return True
    for listener in _listeners:
        listener("compiling the sound kernels (once per version: seconds for one chain, a minute or two for all)")
    try:
        folder.mkdir(parents=True)
        _forget_old(folder.parent)
    except OSError:
        return folder.is_dir()
    return True


def begin_cache() -> bool:
    """Make the cache folder where it is missing, and tell; return whether it was missing."""
    missing = not cache_folder().is_dir()
    _usable(cache_folder())
    return missing


def _forget_old(parent: Path) -> None:
    """Remove the kernels of versions that nobody has compiled for a month."""
    for old in parent.glob("kernels-*"):
        if old.is_dir() and time.time() - old.stat().st_mtime > 30 * 86_400:
            shutil.rmtree(old, ignore_errors=True)


@functools.cache
def source_hash() -> str:
    """SHA-256 of every source file of the package, in hexadecimal: what any result of this code depends on."""
    package = Path(__file__).parent
    digest = hashlib.sha256()
    for path in sorted(package.rglob("*.py")):
        digest.update(path.relative_to(package).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


@functools.cache
def cache_folder() -> Path:
    """Folder of the compiled kernels of exactly these sources, in the user's cache folder.

    The environment variable CHAINSIM_CACHE names another parent folder.
    """
    chosen = os.environ.get("CHAINSIM_CACHE")
    return (Path(chosen) if chosen else _user_cache() / "chainsim") / f"kernels-{source_hash()[:16]}"


def _user_cache() -> Path:
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData" / "Local"))
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
