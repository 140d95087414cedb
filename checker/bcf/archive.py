"""The zip file round the parts of a BCF file.

Its entries are known by their records in the file, so that those not touched can be written again bit for bit, however
they were packed.
"""

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

from checker.bcf.xml import BrokenPart, Document, document
from checker.errors import BadBcf
from checker.zipped import ZipGuard

LARGEST_FILE_BYTES: Final = 2 << 30
"""The whole file is held in memory; ten thousand topics with two pictures each need half of this."""
LARGEST_PART_BYTES: Final = 64 << 20
"""Of one unpacked XML part; a viewpoint that names 100,000 parts has 5 MiB."""
LARGEST_TOTAL_BYTES: Final = 512 << 20
"""Of all unpacked XML parts together: some 30,000 well-filled topics."""
LARGEST_RATIO: Final = 250
"""XML shrinks to a twentieth; what grows more than this was made to fill the memory."""
MOST_ENTRIES: Final = 200_000
"""Six entries each for thirty thousand topics."""

_CENTRAL_BYTES: Final = 46
_LOCAL_BYTES: Final = 30
"""Of the two records, without name, extra field and comment."""
_UTF_8: Final = 0x800
"""The flag of a name in UTF-8."""
_MADE_BY: Final = 3 << 8 | 20
"""Attributes as of Unix, version 2.0 of the format."""
_OFFSET_AT: Final = 42
_FILE: Final = re.compile(rb"[^/\\]*\Z")
_FULL: Final = 0xFFFF_FFFF
"""Stands in a field of 32 bits whose value is in the extra field."""


@dataclass(frozen=True, slots=True)
class Record:
    """The two records of one entry, as bytes: the local one with the content, and that in the directory."""

    local: bytes | memoryview
    central: bytes | memoryview


@dataclass(frozen=True, slots=True, eq=False)
class Entry:
    """One entry of an archive: ``name`` with forward slashes, its description, its records."""

    name: str
    info: zipfile.ZipInfo
    record: Record

    @property
    def folder(self) -> str:
        """The path of its folder, without a slash at the end; ``""`` for the top."""
        return self.name.rpartition("/")[0]

    @property
    def is_folder(self) -> bool:
        """Whether it is the record of a folder."""
        return not self.name or self.name.endswith("/")

    @property
    def stored_name(self) -> bytes:
        """The name as it stands in the file."""
        return bytes(self.record.central[_CENTRAL_BYTES : _CENTRAL_BYTES + _short(self.record.central, 28)])


class Archive:
    """The entries of a zip file in their order. Raises `BadBcf` for anything that is none, or not a sound one."""

    def __init__(self, file: str, data: bytes) -> None:
        self._guard = ZipGuard(
            file=file,
            error=BadBcf,
            what="the issues",
            otherwise="Export fewer topics into one file.",
            most_members=MOST_ENTRIES,
            largest_bytes=LARGEST_PART_BYTES,
            largest_ratio=LARGEST_RATIO,
        )
        self._left = LARGEST_TOTAL_BYTES
        with self._guard.damage_said_plainly():
            self._zip = zipfile.ZipFile(io.BytesIO(data))
            infos = self._zip.infolist()
            self._guard.check_names(infos)
            view = memoryview(data)
            self.entries = _entries(view, infos, self._zip.start_dir)
        self.comment = self._zip.comment
        self.stub = view[: min((each.info.header_offset for each in self.entries), default=0)]
        """What lies before the first entry: nothing, in a usual file."""

    def read(self, entry: Entry) -> Document:
        """An XML part. Raises `BrokenPart`, or `BadBcf` where all parts together get too large."""
        guard = replace(self._guard, file=f"{self._guard.file}: {entry.name!a}", error=BrokenPart)
        with guard.damage_said_plainly():
            content = b"".join(guard.chunks(self._zip, entry.info))
        self._left -= len(content)
        if self._left < 0:
            raise BadBcf(
                f"{self._guard.file} unpacks to more than {LARGEST_TOTAL_BYTES >> 20} MiB of text. "
                f"{self._guard.otherwise}"
            )
        return document(guard.file, content)


def _entries(data: memoryview, infos: list[zipfile.ZipInfo], central: int) -> tuple[Entry, ...]:
    starts = sorted({info.header_offset for info in infos})
    # Records that overlap are how a small file is made to look like a huge one.
    if len(starts) < len(infos):
        raise zipfile.BadZipFile("two entries share one place")
    ends = dict(pairwise([*starts, central]))
    entries = []
    for info in infos:
        listed = data[central : central + _CENTRAL_BYTES + sum(_short(data, central + at) for at in (28, 30, 32))]
        central += len(listed)
        local = data[info.header_offset : ends[info.header_offset]]
        if len(local) < _LOCAL_BYTES or bytes(local[:4]) != b"PK\3\4":
            raise zipfile.BadZipFile("an entry is not where the directory says")
        if len(local) < _LOCAL_BYTES + _short(local, 26) + _short(local, 28) + info.compress_size:
            raise zipfile.BadZipFile("two entries overlap")
        path = [part for part in info.filename.replace("\\", "/").split("/") if part != "."]
        entries.append(Entry("/".join(path), info, Record(local, listed)))
    return tuple(entries)


def new(name: str, data: bytes, saved: str, beside: Entry | None = None) -> Record:
    """An entry of our own; the name of a folder ends with a slash.

    ``saved`` (``YYYY-MM-DDThh:mm:ssZ``) becomes its time, so that the same run gives the same bytes. ``beside`` is an
    entry in whose folder it comes; then the path is spelt like that one's.
    """
    folder = name.endswith("/")
    # Pictures are packed already.
    method = zipfile.ZIP_STORED if folder or name.endswith(".png") else zipfile.ZIP_DEFLATED
    attributes = (0o040755 << 16 | 0x10) if folder else 0o100644 << 16
    path, flags = b"", 0 if name.isascii() else _UTF_8
    if beside is not None:
        path, flags = _FILE.sub(b"", beside.stored_name), beside.info.flag_bits & _UTF_8
    return _record(path + name.encode("utf-8"), flags, data, method, saved, _MADE_BY, attributes)


def renewed(entry: Entry, data: bytes, saved: str) -> Record:
    """An entry with another content; name, packing and attributes stay."""
    info, flags = entry.info, entry.info.flag_bits & _UTF_8
    made_by = info.create_system << 8 | info.create_version
    return _record(entry.stored_name, flags, data, info.compress_type, saved, made_by, info.external_attr, info.comment)


def _record(
    name: bytes, flags: int, data: bytes, method: int, saved: str, made_by: int, attributes: int, comment: bytes = b""
) -> Record:
    year, month, day, hour, minute, second = (int(part) for part in re.split("[-T:]", saved[:-1]))
    # The format counts years from 1980 in seven bits, and seconds by twos.
    date = (min(max(year - 1980, 0), 127) << 9) | month << 5 | day
    time = hour << 11 | minute << 5 | second // 2
    content = data
    if method == zipfile.ZIP_DEFLATED:
        deflate = zlib.compressobj(wbits=-15)
        content = deflate.compress(data) + deflate.flush()
    facts = (20, flags, method, time, date, zlib.crc32(data), len(content), len(data), len(name), 0)
    local = struct.pack("<4s5H3I2H", b"PK\3\4", *facts) + name + content
    central = struct.pack("<4s6H3I5H2I", b"PK\1\2", made_by, *facts, len(comment), 0, 0, attributes, 0) + name + comment
    return Record(local, central)


def joined(records: Iterable[Record], comment: bytes = b"", stub: bytes | memoryview = b"") -> bytes:
    """A zip file of some entries, in order."""
    pieces: list[bytes | bytearray | memoryview] = [stub]
    directory = bytearray()
    at, count = len(stub), 0
    for record in records:
        pieces.append(record.local)
        directory += _placed(bytearray(record.central), at)
        at += len(record.local)
        count += 1
    if at + len(directory) >= _FULL:
        raise BadBcf("The BCF file would be larger than 4 GiB. Check fewer models at a time.")
    pieces.append(directory)
    if count > 0xFFFF:
        end = at + len(directory)
        pieces.append(struct.pack("<4sQHHLLQQQQ", b"PK\6\6", 44, 45, 45, 0, 0, count, count, len(directory), at))
        pieces.append(struct.pack("<4sLQL", b"PK\6\7", 0, end, 1))
        count = 0xFFFF
    pieces.append(struct.pack("<4s4H2LH", b"PK\5\6", 0, 0, count, count, len(directory), at, len(comment)))
    return b"".join((*pieces, comment))


def _placed(record: bytearray, at: int) -> bytearray:
    """A directory record whose entry now begins at another byte."""
    (there,) = struct.unpack_from("<I", record, _OFFSET_AT)
    if there != _FULL:
        struct.pack_into("<I", record, _OFFSET_AT, at)
        return record
    # The place stands in the field for large files, behind those of the two sizes that stand there too.
    large = sum(size == _FULL for size in struct.unpack_from("<II", record, 20))
    field = _CENTRAL_BYTES + _short(record, 28)
    while _short(record, field) != 1:
        field += 4 + _short(record, field + 2)
    struct.pack_into("<Q", record, field + 4 + 8 * large, at)
    return record


def _short(record: bytes | bytearray | memoryview, at: int) -> int:
    return int.from_bytes(record[at : at + 2], "little")
