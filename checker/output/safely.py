"""Write files so that a crash leaves the old one or the new one, whole, and never a part of either."""

import os
import re
import secrets
import stat
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Final

from checker.errors import CannotCheck

try:
    import fcntl
except ImportError:  # not every system has such locks; there, files are whole as well
    fcntl = None  # type: ignore[assignment]

LONGEST_WAIT_S: Final = 60.0
"""Another run writes for a second or two; one that takes longer hangs."""
_TRIED_AGAIN_S: Final = 0.05
_LEFT: Final = re.compile(r"\..+\.[0-9a-f]{12}\.part")
"""Names of files that are being written."""


def replace_file(path: Path, data: bytes) -> None:
    """Put ``data`` where ``path`` is, at once. Raises `CannotCheck` where the place cannot be written."""
    replace_many({path: data})


def renew_file(path: Path, change: Callable[[bytes], bytes]) -> None:
    """Put what ``change`` makes of a file in its place, at once; of a file that is not there it is given nothing.

    No other run can write between the reading and the writing. Raises `CannotCheck` where the file cannot be read or
    written, and whatever ``change`` raises.
    """
    place = _place(path)
    with _alone_in({place.parent: path}):
        try:
            data = place.read_bytes() if place.exists() else b""
        except OSError as error:
            raise CannotCheck(f"{path}: cannot be read ({error.strerror}). Free it, or name another file.") from error
        _replace({path: change(data)})


def replace_many(files: Mapping[Path, bytes], last_look: Callable[[], None] = lambda: None) -> None:
    """Put several files in place: all are written beside their places and only then renamed.

    A full disk or a place that cannot be written leaves every old file as it was. Missing folders are made; a link is
    followed, and a file keeps its permissions. ``last_look`` is called when everything is written and nothing is in
    place yet, and no other run can write there; whatever it raises leaves every old file as it was, too. Raises
    `CannotCheck` with the place and what to do.
    """
    with _alone_in({_place(path).parent: path for path in files}):
        _replace(files, last_look)


def _place(path: Path) -> Path:
    """Where a file lies, whatever links lead to it."""
    return Path(os.path.realpath(path))


def _replace(files: Mapping[Path, bytes], last_look: Callable[[], None] = lambda: None) -> None:
    beside: dict[Path, tuple[Path, Path]] = {}
    try:
        for path, data in files.items():
            with _said_plainly(path):
                place = _place(path)
                if place.is_dir():
                    raise IsADirectoryError(None, "a folder has this name")
                part = place.with_name(f".{place.name[:80]}.{secrets.token_hex(6)}.part")
                beside[path] = part, place
                _write_through(part, data)
                if place.exists():
                    part.chmod(stat.S_IMODE(place.stat().st_mode))
        last_look()
        for path, (part, place) in beside.items():
            with _said_plainly(path):
                os.replace(part, place)
        for folder in {place.parent for _, place in beside.values()}:
            _settle(folder)
    finally:
        for part, _ in beside.values():
            part.unlink(missing_ok=True)


@contextmanager
def _alone_in(folders: Mapping[Path, Path]) -> Iterator[None]:
    """Keeps other runs from writing into some folders, each with the file that it is wanted for.

    What a run left there that was ended while it wrote is cleared away: nobody is writing it any more. Where the system
    has no such locks on folders nobody is kept out, and nothing is cleared away.
    """
    with ExitStack() as held:
        for folder, wanted in sorted(folders.items()):
            with _said_plainly(wanted):
                folder.mkdir(parents=True, exist_ok=True)
            if not _locked(folder, wanted, held):
                continue
            for left in folder.glob(".*.part"):
                if _LEFT.fullmatch(left.name):
                    with suppress(OSError):  # of another user, perhaps; it harms nobody
                        left.unlink()
        yield


def _locked(folder: Path, wanted: Path, held: ExitStack) -> bool:
    """Whether a folder could be locked, until ``held`` is closed."""
    if fcntl is None:
        return False
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return False
    held.callback(os.close, handle)
    end = time.monotonic() + LONGEST_WAIT_S
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return True
        except BlockingIOError:
            if time.monotonic() > end:
                raise CannotCheck(
                    f"{wanted}: another run has been writing in this folder for a minute. End it, or name another "
                    "output folder."
                ) from None
            time.sleep(_TRIED_AGAIN_S)
        except OSError:
            return False


def _write_through(path: Path, data: bytes) -> None:
    with path.open("xb") as stream:
        stream.write(data)
        stream.flush()
        # Without this a power cut after the rename may leave an empty file under the final name.
        os.fsync(stream.fileno())


def _settle(folder: Path) -> None:
    """Ask the system to keep the renames; not every system can, and the files are whole either way."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)


@contextmanager
def _said_plainly(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise CannotCheck(f"{path}: cannot be written ({reason}). Free it, or name another output folder.") from error
