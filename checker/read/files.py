"""Opens model files and guards against whatever a file from outside may turn out to be."""

import codecs
import hashlib
import re
import zipfile
import zlib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from mmap import ACCESS_READ, mmap
from pathlib import Path, PurePosixPath
from typing import Any, Final

import ifcopenshell
from ifcopenshell import ifcopenshell_wrapper as wrapper

from checker.errors import BadModel
from checker.model import Remark, Severity

LARGEST_MODEL_BYTES: Final = 4 << 30
"""A model of this size already needs some 20 GB of memory."""
LARGEST_ZIP_RATIO: Final = 250
"""Model text shrinks to a fifth or a twentieth; what grows more than this was made to fill a disk."""
MOST_ZIP_MEMBERS: Final = 100
"""An .ifcZIP holds one model and perhaps its pictures."""
MOST_LOST_REFERENCES: Final = 20
"""Programs leave a few references that lead nowhere; more are what is left of a file cut in half."""

READ_AS: Final = {
    "IFC2X3_TC1": "IFC2X3",
    "IFC2X3_FINAL": "IFC2X3",
    "IFC4_ADD1": "IFC4",
    "IFC4_ADD2": "IFC4",
    "IFC4_ADD2_TC1": "IFC4",
    "IFC4X3": "IFC4X3_ADD2",
    "IFC4X3_TC1": "IFC4X3_ADD2",
    "IFC4X3_ADD1": "IFC4X3_ADD2",
}
"""Issues of a schema that, for what is read here, say the same as the one that can be read."""

_CHUNK: Final = 1 << 20
_EDGE: Final = 1 << 16
_BROKEN: Final = "Export the model again, or fetch a fresh copy of the file."
_EXPORT: Final = "Export the model as .ifc."
_UNPACK: Final = "Unpack it first, or pack the .ifc file as .ifcZIP."
_END: Final = b"END-ISO-10303-21"
_WHOLE_END: Final = re.compile(rb"(?:\)|\bDATA)\s*;\s*(?:ENDSEC\s*;\s*)?END-ISO-10303-21")
_COMMENT: Final = re.compile(rb"/\*.*?\*/", re.DOTALL)
_FIRST_BYTES: Final = (
    (b"\x1f\x8b", "packed with gzip", _UNPACK),
    (b"BZh", "packed with bzip2", _UNPACK),
    (b"\xfd7zXZ\0", "packed with xz", _UNPACK),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", _UNPACK),
    (b"Rar!", "a RAR archive", _UNPACK),
    (b"\x28\xb5\x2f\xfd", "packed with zstd", _UNPACK),
    (b"%PDF", "a PDF document", _EXPORT),
    (b"\x89PNG", "a picture", _EXPORT),
    (b"\xff\xd8\xff", "a picture", _EXPORT),
    (b"AC10", "a drawing (DWG)", _EXPORT),
    (b"\xd0\xcf\x11\xe0", "the working file of another program", _EXPORT),
    (b"glTF", "a mesh (glTF)", _EXPORT),
    (b"\x89HDF", "a data file (HDF5)", "Export the model as .ifc text."),
    (
        b"version https://git-lfs",
        "a pointer of Git LFS: the model itself was not fetched",
        "Run 'git lfs pull'; in CI, check out with LFS.",
    ),
)
"""What files of other kinds begin with, what they are and what to do."""
_LAST_RECORD: Final = re.compile(rb"[;\r\n]\s*#(\d+)\s*=\s*([A-Za-z0-9_]+)\s*\(")
_RECORD: Final = re.compile(rb"'[^']*'|#(\d+)\s*=\s*IFC", re.IGNORECASE)
"""A text, in which anything may stand, or the number of a record."""
_OPEN: Final[Any] = ifcopenshell.open  # its published types lack `lazy`


def schemas() -> tuple[str, ...]:
    """The schemas this installation can read, such as ``IFC4``."""
    names = wrapper.schema_names()
    return tuple(sorted(name for name in names if name.startswith("IFC")))


@dataclass(frozen=True)
class OpenFile:
    """One opened file: ``text_path`` is the STEP text that was read, a copy where the file could not be read as it is.

    ``written_in`` is the schema it names where another one was read for it, ``letters`` the encoding of letters that
    were written as plain bytes; both are "" where nothing had to be done.
    """

    path: Path
    text_path: Path
    sha256: str
    model: ifcopenshell.file
    log: Any
    written_in: str = ""
    letters: str = ""

    @property
    def saved(self) -> str:
        """Time stamp of the header as ``YYYY-MM-DDThh:mm:ssZ``, or "" where it has none that can be read."""
        try:
            moment = datetime.fromisoformat(_text(self.model.header.file_name.time_stamp).strip())
            return moment.replace(tzinfo=moment.tzinfo or UTC).astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        except (ValueError, OverflowError):
            return ""

    @property
    def header_name(self) -> str:
        """The name the header gives the file."""
        return _text(self.model.header.file_name.name)

    def remarks(self) -> list[Remark]:
        """What had to be read otherwise than it was written, or left out, one sentence each."""
        notes = []
        if self.written_in:
            read_as = f"{self.path.name}: written in schema {self.written_in}, read as {READ_AS[self.written_in]}."
            notes.append(Remark("note", read_as))
        if self.letters:
            guess = "" if self.letters == "UTF-8" else ", as Western European ones; others will read wrongly"
            read_as = f"which the format does not allow; they were read all the same{guess}."
            letters = f"{self.path.name}: letters are written as plain {self.letters} bytes, {read_as}"
            notes.append(Remark("note", letters))
        faults = [m.message for m in self.log.log_messages() if m.severity >= self.log.LOG_ERROR]
        if not faults:
            return notes
        # The parser reports in no fixed order, and the text may quote the file: take one, harmless and short.
        first = "".join(c if c.isprintable() else "?" for c in min(faults))[:120]
        left_out = f"faulty records or references that were left out: {len(faults)}, such as: {first}"
        lost = sum("reference" in fault for fault in faults)
        grave: Severity = "error" if lost > MOST_LOST_REFERENCES else "warning"
        return [*notes, Remark(grave, f"{self.path.name}: {left_out}")]


def open_file(path: Path, unpack_into: Callable[[], Path]) -> OpenFile:
    """Opens one ``.ifc`` or ``.ifcZIP``; ``unpack_into`` gives a folder for the text of a zip.

    Raises `BadModel` with one sentence for anything that is not a readable model.
    """
    try:
        str(path).encode()
    except UnicodeEncodeError as error:
        raise BadModel(f"{str(path)!a} is a name whose bytes are no text (UTF-8). Rename the file.") from error
    try:
        if path.is_dir():
            raise BadModel(f"{path} is a folder. Name the .ifc or .ifcZIP files in it.")
        if not path.exists():
            raise BadModel(f"{path} does not exist. Check the name and the folder.")
        if not path.is_file():
            raise BadModel(f"{path} is not a file. Name an .ifc or .ifcZIP file.")
        return _open_file(path, unpack_into)
    except OSError as error:
        reason = error.strerror or error
        raise BadModel(f"{path} cannot be read ({reason}). Check its permissions and the disk.") from error


def _open_file(path: Path, unpack_into: Callable[[], Path]) -> OpenFile:
    _check_size(path, path.stat().st_size)
    with path.open("rb") as stream:
        sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
    head = _edge(path, 0)
    folder = None
    if head.startswith(b"PK"):
        folder = unpack_into()
        text_path = _unpacked(path, folder)
        head = _edge(text_path, 0)
    elif path.suffix.lower() == ".ifczip":
        raise BadModel(f"{path} ends in .ifcZIP but is no zip archive. {_BROKEN}")
    else:
        text_path = path
    _check_text(path, head)
    tail = _edge(text_path, -_EDGE)
    _check_end(path, tail)
    letters = _letters(path, text_path)
    written_in = _declared_schema(head)
    schema = "" if written_in in schemas() else READ_AS.get(written_in, "")
    if schema or letters:
        text_path = _copied(text_path, (folder or unpack_into()) / "copy.ifc", letters, schema)
    log: Any = wrapper.logger()
    log.output_format(log.FMT_INMEMORY)
    try:
        # The lazy index falls back to a full parse by itself where the text is unusual.
        model = _OPEN(text_path, format=".ifc", lazy=True, logger=log)
    except ifcopenshell.SchemaError as error:
        raise BadModel(f"{path} {_unreadable(written_in)}") from error
    except (ifcopenshell.Error, RuntimeError) as error:
        fault = (
            "is damaged: its text breaks the rules of a STEP file" if written_in else "names no schema in its header"
        )
        raise BadModel(f"{path} {fault}. {_BROKEN}") from error
    opened = OpenFile(path, text_path, sha256, model, log, written_in if schema else "", letters)
    _check_complete(opened, tail)
    _check_numbers(opened)
    return opened


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _check_size(path: Path, size: int) -> None:
    if size == 0:
        raise BadModel(f"{path} is empty. {_BROKEN}")
    if size > LARGEST_MODEL_BYTES:
        raise BadModel(
            f"{path} is {size / 2**30:.1f} GiB large; the limit is {LARGEST_MODEL_BYTES / 2**30:g} GiB. "
            "Export the trades as separate models."
        )


def _check_text(path: Path, head: bytes) -> None:
    start = head.removeprefix(codecs.BOM_UTF8).lstrip()
    while start.startswith(b"/*"):
        start = start.partition(b"*/")[2].lstrip()
    if not start.startswith(b"ISO-10303-21"):
        raise BadModel(f"{path} {_other_kind(head, start)}")


def _other_kind(head: bytes, start: bytes) -> str:
    """What a file is that is no STEP text, and what to do; ``start`` is its head without blanks."""
    for first, what, remedy in _FIRST_BYTES:
        if head.startswith(first):
            return f"is no IFC file but {what}. {remedy}"
    if b"ISO-10303-21" in head[:400].replace(b"\0", b"") and b"\0" in head[:400]:
        return "is saved as UTF-16. Save it as plain text (ASCII or UTF-8), or export the model again."
    if not start.strip(b"\0"):
        return f"holds nothing but {'zero bytes' if start else 'blanks'}. {_BROKEN}"
    if b"\0" in head:
        return f"is no IFC file but binary data. {_EXPORT}"
    low = start[:1000].lower()
    if low.startswith(b"<") and (b"ifcxml" in head.lower() or b"<ifc:" in low):
        return "is written as ifcXML, which this tool does not read. Export it as .ifc or .ifcZIP."
    if low.startswith((b"<!doctype html", b"<html")) or (low.startswith(b"<") and b"<html" in low):
        return (
            "is no IFC file but a web page (HTML), perhaps a sign-in page saved in its place. "
            "Download the model again after signing in."
        )
    if low.startswith(b"<"):
        return f"is no IFC file but XML of another kind. {_EXPORT}"
    if low.startswith((b"{", b"[")):
        return "is no IFC file but JSON, which this tool does not read. Export it as .ifc or .ifcZIP."
    return f"is no IFC file: its text does not begin with ISO-10303-21. {_EXPORT}"


def _check_end(path: Path, tail: bytes) -> None:
    if _END not in tail:
        raise BadModel(f"{path} is cut short: its end marker END-ISO-10303-21 is missing. {_BROKEN}")
    # An end marker can be put behind half a file, but not behind half a record.
    if not (_WHOLE_END.search(tail) or _WHOLE_END.search(_COMMENT.sub(b"", tail))):
        raise BadModel(f"{path} is cut short: its last record does not end. {_BROKEN}")


def _letters(path: Path, text_path: Path) -> str:
    """How letters outside ASCII are written, "" where there are none; reads the whole text and refuses what is none."""
    utf8, letters, ends, before = codecs.getincrementaldecoder("utf-8")(), "", 0, b""
    for chunk in _chunks(text_path):
        # The parser skips them like blanks, and with them whatever a bad disk has written them over.
        if b"\0" in chunk:
            raise BadModel(f"{path} is damaged: it holds bytes that are no text. {_BROKEN}")
        ends += (before + chunk).count(_END)
        before = chunk[1 - len(_END) :]
        if letters != "Latin-1" and (letters or not chunk.isascii()):
            try:
                utf8.decode(chunk)
                letters = "UTF-8"
            except UnicodeDecodeError:
                letters = "Latin-1"
    if ends > 1:
        raise BadModel(f"{path} holds {ends} models one behind the other. Export each into a file of its own.")
    return letters


def _chunks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as stream:
        yield from iter(lambda: stream.read(_CHUNK), b"")


def _unreadable(schema: str) -> str:
    """Why a schema cannot be read, and what to do."""
    known = ", ".join(schemas())
    shown = ascii(schema)
    if not schema.upper().startswith("IFC"):
        return f"is a STEP file of another kind (schema {shown}), no building model. {_EXPORT}"
    return f"is written in schema {shown}; this tool reads {known}. Export it in one of these."


def _edge(path: Path, start: int) -> bytes:
    with path.open("rb") as stream:
        stream.seek(max(0, start + path.stat().st_size) if start < 0 else start)
        return stream.read(_EDGE)


def _declared_schema(head: bytes) -> str:
    named = re.search(rb"FILE_SCHEMA\s*\(\s*\(\s*'([^']{0,40})'", head)
    return named[1].decode("latin-1").strip() if named else ""


def _copied(path: Path, target: Path, letters: str, schema: str) -> Path:
    """A copy that can be read: letters as the format wants them, and the ``schema`` ("" for the one it names)."""
    decoder = codecs.getincrementaldecoder("utf-8-sig" if letters == "UTF-8" else "cp1252")("replace")
    with target.open("w", encoding="ascii", newline="") as copy:
        for number, chunk in enumerate(_chunks(path)):
            if number == 0 and schema:
                chunk = re.sub(
                    rb"(FILE_SCHEMA\s*\(\s*\(\s*')[^']*'", rb"\g<1>" + schema.encode() + b"'", chunk, count=1
                )
            copy.write(re.sub(r"[^\x00-\x7f]", _escaped, decoder.decode(chunk)))
    return target


def _escaped(letter: re.Match[str]) -> str:
    """A letter outside ASCII as a text of a STEP file holds it."""
    number = ord(letter[0])
    return f"\\X2\\{number:04X}\\X0\\" if number < 0x10000 else f"\\X4\\{number:08X}\\X0\\"


def _check_complete(opened: OpenFile, tail: bytes) -> None:
    """A parser that loses its way in the middle may swallow the rest of the file without a word."""
    records = _LAST_RECORD.findall(tail)
    if not records:
        return
    number, name = records[-1]
    try:
        wrapper.schema_by_name(opened.model.schema_identifier).declaration_by_name(name.decode("ascii"))
    except RuntimeError:
        return  # of a class the schema does not know: left out rightly, and in the remarks
    try:
        opened.model.by_id(int(number))
    except RuntimeError as error:
        raise BadModel(f"{opened.path} is damaged: its text cannot be followed to the end. {_BROKEN}") from error


def _check_numbers(opened: OpenFile) -> None:
    """Of two records with one number only one is read, and nobody knows which is meant."""
    # Counting is fast; names may hold what looks like a record, so only what is too many is looked at.
    found = sum(chunk.count(b"=IFC") + chunk.count(b"= IFC") for chunk in _chunks(opened.text_path))
    if found <= len(opened.model.entity_names()):
        return
    with opened.text_path.open("rb") as stream, mmap(stream.fileno(), 0, access=ACCESS_READ) as whole:
        numbers = Counter(int(record[1]) for record in _RECORD.finditer(whole) if record[1])
    twice = sorted(number for number, times in numbers.items() if times > 1)
    if twice:
        stand = "records have the same number" if len(twice) == 1 else "numbers stand for more than one record"
        which = f"two {stand}, #{twice[0]}," if len(twice) == 1 else f"{len(twice)} {stand}, such as #{twice[0]},"
        raise BadModel(f"{opened.path} is damaged: {which} and nobody can tell which is meant. {_BROKEN}")


def _unpacked(path: Path, folder: Path) -> Path:
    try:
        with zipfile.ZipFile(path) as archive:
            return _unpack_model(path, archive, folder / "model.ifc")
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise BadModel(f"{path} cannot be unpacked ({error}). {_BROKEN}") from error


def _unpack_model(path: Path, archive: zipfile.ZipFile, target: Path) -> Path:
    members = [m for m in archive.infolist() if not m.is_dir() and not m.filename.startswith("__MACOSX/")]
    if len(members) > MOST_ZIP_MEMBERS:
        raise BadModel(f"{path} holds {len(members)} files; the limit is {MOST_ZIP_MEMBERS}. Pack the model alone.")
    for member in members:
        inside = PurePosixPath(member.filename.replace("\\", "/"))
        if inside.is_absolute() or ".." in inside.parts or ":" in member.filename:
            raise BadModel(f"{path} holds a file that points outside it ({member.filename!a}). Pack the model alone.")
    models = [m for m in members if m.filename.lower().endswith(".ifc")]
    if len(models) != 1:
        names = [m.filename.lower() for m in members]
        if not models and any(name.endswith(".ifcxml") for name in names):
            raise BadModel(f"{path} holds ifcXML, which this tool does not read. Pack an .ifc file.")
        if not models and any(name.endswith(("bcf.version", "markup.bcf")) for name in names):
            raise BadModel(f"{path} holds issues (BCF) and no model. Name the .ifc files they are about.")
        raise BadModel(f"{path} holds {len(models) or 'no'} .ifc files. Pack exactly one into each .ifcZIP.")
    model = models[0]
    if model.flag_bits & 1:
        raise BadModel(f"{path} is protected by a password. Pack the model without one.")
    if model.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise BadModel(f"{path} is packed in an unusual way. Pack the model with the usual deflate method.")
    limit = min(LARGEST_MODEL_BYTES, LARGEST_ZIP_RATIO * max(model.compress_size, _CHUNK))
    too_large = BadModel(f"{path} would unpack to more than {limit / 2**20:.0f} MiB. Hand over the .ifc file itself.")
    if model.file_size > limit:
        raise too_large
    written = 0
    with archive.open(model) as packed, target.open("wb") as text:
        while chunk := packed.read(_CHUNK):
            written += len(chunk)
            if written > limit:
                raise too_large
            text.write(chunk)
    _check_size(path, written)
    return target
