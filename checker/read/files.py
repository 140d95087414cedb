"""Opens model files and guards against whatever a file from outside may turn out to be."""

import hashlib
import re
import shutil
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import ifcopenshell
from ifcopenshell import ifcopenshell_wrapper as wrapper

from checker.errors import BadModel
from checker.zipped import ZipGuard

LARGEST_MODEL_BYTES: Final = 4 << 30
"""A model of this size already needs some 20 GB of memory."""
LARGEST_ZIP_RATIO: Final = 250
"""Model text shrinks to a fifth or a twentieth; what grows more than this was made to fill a disk."""
MOST_ZIP_MEMBERS: Final = 100
"""An .ifcZIP holds one model and perhaps its pictures."""

LIKE_ADD2: Final = ("IFC4X3", "IFC4X3_TC1", "IFC4X3_ADD1")
"""Earlier issues of the schema that became IFC4X3_ADD2; for what is read here they say the same."""

_CHUNK: Final = 1 << 20
_EDGE: Final = 1 << 16
_BROKEN: Final = "Export the model again, or fetch a fresh copy of the file."
_LAST_RECORD: Final = re.compile(rb"[;\r\n]\s*#(\d+)\s*=\s*([A-Za-z0-9_]+)\s*\(")
_OPEN: Final[Any] = ifcopenshell.open  # its published types lack `lazy`


def schemas() -> tuple[str, ...]:
    """The schemas this installation can read, such as ``IFC4``."""
    names = wrapper.schema_names()
    return tuple(sorted(name for name in names if name.startswith("IFC")))


@dataclass(frozen=True)
class OpenFile:
    """One opened file: ``text_path`` is the STEP text itself (unpacked where the file was a zip)."""

    path: Path
    text_path: Path
    sha256: str
    model: ifcopenshell.file
    log: Any
    written_in: str = ""

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

    def remarks(self) -> list[str]:
        """What the parser had to leave out so far, in one sentence."""
        read_as = f"{self.path.name}: written in schema {self.written_in}, read as {LIKE_ADD2[0]}_ADD2"
        notes = [read_as] if self.written_in else []
        faults = [m.message for m in self.log.log_messages() if m.severity >= self.log.LOG_ERROR]
        if not faults:
            return notes
        # The parser reports in no fixed order, and the text may quote the file: take one, harmless and short.
        first = "".join(c if c.isprintable() else "?" for c in min(faults))[:120]
        return [
            *notes,
            f"{self.path.name}: faulty records or references that were left out: {len(faults)}, such as: {first}",
        ]


def open_file(path: Path, unpack_into: Callable[[], Path]) -> OpenFile:
    """Opens one ``.ifc`` or ``.ifcZIP``; ``unpack_into`` gives a folder for the text of a zip.

    Raises `BadModel` with one sentence for anything that is not a readable model.
    """
    if path.is_dir():
        raise BadModel(f"{path} is a folder. Name the .ifc or .ifcZIP files in it.")
    if not path.exists():
        raise BadModel(f"{path} does not exist. Check the name and the folder.")
    if not path.is_file():
        raise BadModel(f"{path} is not a file. Name an .ifc or .ifcZIP file.")
    try:
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
    if b"END-ISO-10303-21" not in tail:
        raise BadModel(f"{path} is cut short: its end marker END-ISO-10303-21 is missing. {_BROKEN}")
    with text_path.open("rb") as stream:
        # The parser skips them like blanks, and with them whatever a bad disk has written them over.
        if any(b"\0" in chunk for chunk in iter(lambda: stream.read(_CHUNK), b"")):
            raise BadModel(f"{path} is damaged: it holds bytes that are no text. {_BROKEN}")
    written_in = _declared_schema(head).strip("'")
    if written_in in LIKE_ADD2 and written_in not in schemas():
        text_path = _renamed(text_path, written_in, (folder or unpack_into()) / "renamed.ifc")
    else:
        written_in = ""
    log: Any = wrapper.logger()
    log.output_format(log.FMT_INMEMORY)
    try:
        # The lazy index falls back to a full parse by itself where the text is unusual.
        model = _OPEN(text_path, format=".ifc", lazy=True, logger=log)
    except ifcopenshell.SchemaError as error:
        schema = _declared_schema(head)
        known = ", ".join(schemas())
        raise BadModel(f"{path} is written in schema {schema}; this tool reads {known}. Export it in one.") from error
    except (ifcopenshell.Error, RuntimeError) as error:
        raise BadModel(f"{path} is damaged: its text breaks the rules of a STEP file. {_BROKEN}") from error
    opened = OpenFile(path, text_path, sha256, model, log, written_in)
    _check_complete(opened, tail)
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
    start = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    while start.startswith(b"/*"):
        start = start.partition(b"*/")[2].lstrip()
    if start.startswith(b"ISO-10303-21"):
        return
    if start.startswith(b"<") and b"ifcxml" in head.lower():
        raise BadModel(f"{path} is written as ifcXML, which this tool does not read. Export it as .ifc or .ifcZIP.")
    raise BadModel(f"{path} is no IFC file: its text does not begin with ISO-10303-21. Export the model as .ifc.")


def _edge(path: Path, start: int) -> bytes:
    with path.open("rb") as stream:
        stream.seek(max(0, start + path.stat().st_size) if start < 0 else start)
        return stream.read(_EDGE)


def _declared_schema(head: bytes) -> str:
    named = re.search(rb"FILE_SCHEMA\s*\(\s*\(\s*'([^']{0,40})'", head)
    return ascii(named[1].decode("latin-1")) if named else "of no name"


def _renamed(path: Path, schema: str, target: Path) -> Path:
    """A copy whose header names the issue of the schema that can be read."""
    with path.open("rb") as source, target.open("wb") as copy:
        head = source.read(_EDGE)
        copy.write(re.sub(rb"(FILE_SCHEMA\s*\(\s*\(\s*')" + schema.encode() + rb"'", rb"\1IFC4X3_ADD2'", head, count=1))
        shutil.copyfileobj(source, copy, _CHUNK)
    return target


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


def _unpacked(path: Path, folder: Path) -> Path:
    guard = ZipGuard(
        file=str(path),
        error=BadModel,
        what="the model",
        otherwise="Hand over the .ifc file itself.",
        most_members=MOST_ZIP_MEMBERS,
        largest_bytes=LARGEST_MODEL_BYTES,
        largest_ratio=LARGEST_ZIP_RATIO,
    )
    with guard.damage_said_plainly(), zipfile.ZipFile(path) as archive:
        return _unpack_model(path, archive, guard, folder / "model.ifc")


def _unpack_model(path: Path, archive: zipfile.ZipFile, guard: ZipGuard, target: Path) -> Path:
    members = [m for m in archive.infolist() if not m.is_dir() and not m.filename.startswith("__MACOSX/")]
    guard.check_names(members)
    models = [m for m in members if m.filename.lower().endswith(".ifc")]
    if len(models) != 1:
        if not models and any(m.filename.lower().endswith((".ifcxml", ".xml")) for m in members):
            raise BadModel(f"{path} holds ifcXML, which this tool does not read. Pack an .ifc file.")
        raise BadModel(f"{path} holds {len(models) or 'no'} .ifc files. Pack exactly one into each .ifcZIP.")
    with target.open("wb") as text:
        text.writelines(guard.chunks(archive, models[0]))
    _check_size(path, target.stat().st_size)
    return target
