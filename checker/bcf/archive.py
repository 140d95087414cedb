"""The zip file round the parts of a BCF file.

Its entries are known by their records in the file, so that those not touched can be written again bit for bit, however
they were packed.
"""

import io
import struct
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
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

_CENTRAL: Final = struct.Struct("<4s24xHHH8xI")
"""Signature, lengths of name, extra field and comment, place of the local record; 46 bytes."""
_LOCAL_BYTES: Final = 30
_OFFSET_AT: Final = 42
_FULL: Final = 0xFFFF_FFFF
"""Stands in a field of 32 bits whose value is in the extra field."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry: ``name`` with forward slashes, its description, and its two records as they lie in the file."""

    name: str
    info: zipfile.ZipInfo
    local: memoryview
    central: memoryview


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
    ends = dict(zip(starts, [*starts[1:], central], strict=True))
    entries = []
    for info in infos:
        _, name, extra, comment, _ = _CENTRAL.unpack_from(data, central)
        record = data[central : central + _CENTRAL.size + name + extra + comment]
        central += len(record)
        local = data[info.header_offset : ends[info.header_offset]]
        if len(local) < _LOCAL_BYTES or bytes(local[:4]) != b"PK\3\4":
            raise zipfile.BadZipFile("an entry is not where the directory says")
        if len(local) < _LOCAL_BYTES + sum(struct.unpack_from("<HH", local, 26)) + info.compress_size:
            raise zipfile.BadZipFile("two entries overlap")
        path = [part for part in info.filename.replace("\\", "/").split("/") if part != "."]
        entries.append(Entry("/".join(path), info, local, record))
    return tuple(entries)


def packed(files: Iterable[tuple[str, bytes]], saved: str, like: Mapping[str, zipfile.ZipInfo] = {}) -> list[Entry]:
    """New entries, in order; a folder ends with a slash.

    ``saved`` (``YYYY-MM-DDThh:mm:ssZ``) becomes their time, so that the same run gives the same bytes. ``like`` gives
    entries that some of them take the place of: of those they keep the packing and the attributes.
    """
    year, month, day, hour, minute, second = map(int, saved[:-1].replace("T", "-").replace(":", "-").split("-"))
    # The format counts years from 1980 in seven bits.
    time = (min(max(year, 1980), 2107), month, day, hour, minute, second)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, data in files:
            info = zipfile.ZipInfo(name, time)
            info.create_system = 3
            folder = name.endswith("/")
            info.external_attr = (0o040755 << 16 | 0x10) if folder else 0o100644 << 16
            # Pictures are packed already.
            deflate = not folder and not name.endswith(".png")
            info.compress_type = zipfile.ZIP_DEFLATED if deflate else zipfile.ZIP_STORED
            if name in like:
                for field in ("create_system", "external_attr", "internal_attr", "compress_type", "comment"):
                    setattr(info, field, getattr(like[name], field))
            archive.writestr(info, data)
    return list(Archive("", stream.getvalue()).entries)


def joined(entries: Iterable[Entry], comment: bytes = b"", stub: bytes | memoryview = b"") -> bytes:
    """A zip file of some entries, each with the records it has."""
    pieces: list[bytes | bytearray | memoryview] = [stub]
    directory = bytearray()
    at, count = len(stub), 0
    for entry in entries:
        pieces.append(entry.local)
        directory += _placed(bytearray(entry.central), entry.info, at)
        at += len(entry.local)
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


def _placed(record: bytearray, info: zipfile.ZipInfo, at: int) -> bytearray:
    """A directory record whose entry now begins at another byte."""
    (there,) = struct.unpack_from("<I", record, _OFFSET_AT)
    if there != _FULL:
        struct.pack_into("<I", record, _OFFSET_AT, at)
        return record
    # The place stands in the field for large files, behind those of the two sizes that stand there too.
    large = sum(size == _FULL for size in struct.unpack_from("<II", record, 20))
    field = _CENTRAL.size + struct.unpack_from("<H", record, 28)[0]
    while struct.unpack_from("<H", record, field)[0] != 1:
        field += 4 + struct.unpack_from("<H", record, field + 2)[0]
    struct.pack_into("<Q", record, field + 4 + 8 * large, at)
    return record
