"""Zip files from outside: what is looked at before anything in them is unpacked."""

import re
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Final

from checker.errors import CannotCheck

CHUNK: Final = 1 << 20
_DRIVE: Final = re.compile("[A-Za-z]:")


@dataclass(frozen=True, slots=True)
class ZipGuard:
    """What a zip file may hold, and how a person is told that it holds something else.

    ``file`` is named in every message, ``what`` is what the zip should hold ("the model"), ``otherwise`` what to do
    when that is too large. ``largest_bytes`` and ``largest_ratio`` are those of one member when unpacked; a member of
    less than 1 MiB counts as 1 MiB.
    """

    file: str
    error: type[CannotCheck]
    what: str
    otherwise: str
    most_members: int
    largest_bytes: int
    largest_ratio: int

    @contextmanager
    def damage_said_plainly(self) -> Iterator[None]:
        """Turns what `zipfile` says about a damaged archive into one sentence."""
        try:
            yield
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
            again = f"Export {self.what} again, or fetch a fresh copy of the file."
            raise self.error(f"{self.file} cannot be unpacked ({error}). {again}") from error

    def check_names(self, members: Sequence[zipfile.ZipInfo]) -> None:
        """Refuses too many members, and names that point outside the archive."""
        if len(members) > self.most_members:
            raise self.error(
                f"{self.file} holds {len(members)} files; the limit is {self.most_members}. Pack {self.what} alone."
            )
        for member in members:
            inside = PurePosixPath(member.filename.replace("\\", "/"))
            if inside.is_absolute() or ".." in inside.parts or _DRIVE.match(member.filename):
                raise self.error(
                    f"{self.file} holds a file that points outside it ({member.filename!a}). Pack {self.what} alone."
                )

    def chunks(self, archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> Iterator[bytes]:
        """The content of a member, piece by piece, as long as it keeps within the limits."""
        if member.flag_bits & 1:
            raise self.error(f"{self.file} is protected by a password. Pack {self.what} without one.")
        if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise self.error(
                f"{self.file} is packed in an unusual way. Pack {self.what} with the usual deflate method."
            )
        limit = min(self.largest_bytes, self.largest_ratio * max(member.compress_size, CHUNK))
        too_large = self.error(f"{self.file} would unpack to more than {limit / 2**20:.0f} MiB. {self.otherwise}")
        if member.file_size > limit:
            raise too_large
        written = 0
        with archive.open(member) as packed:
            while chunk := packed.read(CHUNK):
                written += len(chunk)
                if written > limit:
                    raise too_large
                yield chunk
