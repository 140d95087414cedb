"""Write files so that a crash leaves the old one or the new one, whole, and never a part of either."""

import os
import secrets
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from checker.errors import CannotCheck


def replace_file(path: Path, data: bytes) -> None:
    """Put ``data`` where ``path`` is, at once. Raises `CannotCheck` where the place cannot be written."""
    replace_many({path: data})


def replace_many(files: Mapping[Path, bytes], last_look: Callable[[], None] = lambda: None) -> None:
    """Put several files in place: all are written beside their places and only then renamed.

    A full disk or a place that cannot be written leaves every old file as it was. Missing folders are made.
    ``last_look`` is called when everything is written and nothing is in place yet; whatever it raises leaves every old
    file as it was, too. Raises `CannotCheck` with the place and what to do.
    """
    beside: dict[Path, Path] = {}
    try:
        for path, data in files.items():
            with _said_plainly(path):
                if path.is_dir():
                    raise IsADirectoryError(None, "a folder has this name")
                path.parent.mkdir(parents=True, exist_ok=True)
                beside[path] = path.with_name(f".{path.name[:80]}.{secrets.token_hex(6)}.part")
                _write_through(beside[path], data)
        last_look()
        for path, part in beside.items():
            with _said_plainly(path):
                os.replace(part, path)
        for folder in {path.parent for path in beside}:
            _settle(folder)
    finally:
        for part in beside.values():
            part.unlink(missing_ok=True)


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
