"""XML of anyone as a tree that knows at which byte each element stands, and texts that XML can hold.

No document type is taken, so there are no entities beyond the five of XML, and nothing is ever fetched.
"""

import codecs
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final
from xml.parsers import expat
from xml.sax.saxutils import escape, quoteattr

from checker.errors import BadBcf

MOST_ELEMENTS: Final = 1_000_000
"""Of one document; a viewpoint that names each part of a large model has some 100,000."""
DEEPEST: Final = 256
"""BCF nests eight deep."""

_DECLARED: Final = re.compile(rb"\s*<\?xml\s[^>]*?encoding\s*=\s*[\"']([A-Za-z][\w.-]*)")
_WIDE: Final = re.compile(r"(utf|ucs|iso-10646-ucs)[-_]?(16|32|2|4)", re.IGNORECASE)
_KNOWN: Final = re.compile(
    r"utf-8|ascii|iso8859-\d+|cp125\d|koi8-[ru]|gb2312|gbk|gb18030|big5|shift_jis|euc_(jp|kr)|cp932"
)
"""Codecs of which each keeps ASCII as it is."""
# Marks that reverse the reading direction: legal in XML, and a way to make a name read as something else.
_REVERSING: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


class BrokenPart(BadBcf):
    """One part of a BCF file cannot be read; the others may."""


def legal(text: str) -> str:
    r"""A text that XML 1.0 can hold and that reads as it is written; lines stay lines.

    >>> legal("a\x00b\r\nc\ud800")
    'a�b\nc�'
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ")
    if text.isascii() and text.replace("\n", "").isprintable():
        return text
    return "".join("�" if _illegal(letter) else letter for letter in text)


def _illegal(letter: str) -> bool:
    return (
        (unicodedata.category(letter) in ("Cc", "Cs") and letter != "\n")
        or letter in _REVERSING
        or letter in "\ufffe\uffff"
    )


@dataclass(frozen=True, slots=True)
class Document:
    """A document in UTF-8 (where all positions are counted), and the codec in which it came.

    ``where`` tells a person which it is.
    """

    where: str
    utf8: bytes
    codec: str

    def encoded(self, utf8: bytes) -> bytes:
        """A changed form of the document, in the encoding of the original.

        A letter that the encoding does not have becomes a reference to its number.
        """
        if self.codec == "utf-8":
            return utf8
        return utf8.decode("utf-8").encode(self.codec, "xmlcharrefreplace")


def document(where: str, data: bytes) -> Document:
    """A document as it lies in a file. Raises `BrokenPart` for an encoding that cannot be told."""
    codec = _codec(where, data)
    if codec == "utf-8":
        return Document(where, data, codec)
    try:
        text = data.decode(codec)
        if text.encode(codec) == data:
            return Document(where, text.encode("utf-8"), codec)
    except UnicodeError:
        pass
    raise BrokenPart(f"{where} is not written in {codec} as it says.")


def _codec(where: str, data: bytes) -> str:
    if data.startswith((codecs.BOM_UTF16_LE, b"<\0")):
        return "utf-16-le"
    if data.startswith((codecs.BOM_UTF16_BE, b"\0<")):
        return "utf-16-be"
    declared = _DECLARED.match(data)
    # Programs that print to a string in memory say UTF-16 and then save the string as UTF-8.
    if data.startswith(codecs.BOM_UTF8) or not declared or _WIDE.fullmatch(name := declared[1].decode("ascii")):
        return "utf-8"
    try:
        codec = codecs.lookup(name).name
    except LookupError:
        codec = ""
    if not _KNOWN.fullmatch(codec):
        raise BrokenPart(f"{where} is written in an encoding that is not known ({name[:40]}).")
    return codec


@dataclass(slots=True, eq=False)
class Node:
    """An element of a document.

    ``tag`` is its name without prefix; elements of a namespace other than the root's are of someone else, and their
    tag is ``{namespace}name``, so that nobody takes them for what they are not. ``prefix`` is as written, with its
    colon. ``start`` is the byte at which the start tag begins, ``close`` that at which the end tag begins; of ``<a/>``
    it is the byte behind.
    """

    tag: str
    prefix: str
    attributes: dict[str, str]
    start: int
    close: int = -1
    children: list["Node"] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)

    @property
    def text(self) -> str:
        """The text directly inside, without blanks round it."""
        return "".join(self.texts).strip()

    def all(self, *tags: str) -> Iterator["Node"]:
        """Children with one of some tags."""
        return (child for child in self.children if child.tag in tags)

    def first(self, tag: str) -> "Node | None":
        """The first child with a tag."""
        return next(self.all(tag), None)

    def text_of(self, tag: str) -> str:
        """The text of the first child with a tag, or ``""``."""
        child = self.first(tag)
        return child.text if child else ""

    def attribute(self, name: str) -> str:
        """An attribute without blanks round it, or ``""``."""
        return self.attributes.get(name, "").strip()

    def says(self, other: "Node") -> bool:
        """Whether this element and another say the same: places, prefixes and blanks between elements apart."""
        return (
            (self.tag, self.attributes, self._words) == (other.tag, other.attributes, other._words)
            and len(self.children) == len(other.children)
            and all(one.says(two) for one, two in zip(self.children, other.children, strict=True))
        )

    @property
    def _words(self) -> str:
        return " ".join(self.text.split()) if self.children else self.text


def parse(text: Document) -> Node:
    """The root of a document, whatever encoding it declares. Raises `BrokenPart`."""
    parser = expat.ParserCreate("utf-8")
    parser.buffer_text = True
    top = Node("", "", {}, 0)
    path = [top]
    scopes: list[dict[str, str]] = [{}]
    ours = ""
    count = 0
    # Some programs put a blank or a line before the declaration, where a parser takes none.
    lead = len(text.utf8) - len(text.utf8.lstrip())

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal count, ours
        count += 1
        if count > MOST_ELEMENTS or len(path) > DEEPEST:
            raise BrokenPart(f"{text.where} holds more elements than a sound file has.")
        scope = scopes[-1]
        if any(key.startswith("xmlns") for key in attributes):
            scope = scope | {key[6:]: value for key, value in attributes.items() if re.match("xmlns(:|$)", key)}
        scopes.append(scope)
        prefix, colon, local = name.rpartition(":")
        # Files that use a prefix without declaring it are not rare; then the prefix stands for the namespace.
        space = scope.get(prefix, prefix + colon)
        if path[-1] is top:
            ours = space
        tag = local if space in ("", ours) else f"{{{space}}}{local}"
        node = Node(tag, prefix + colon, attributes, lead + parser.CurrentByteIndex)
        path[-1].children.append(node)
        path.append(node)

    def end(name: str) -> None:
        scopes.pop()
        path.pop().close = lead + parser.CurrentByteIndex

    def words(data: str) -> None:
        path[-1].texts.append(data)

    def doctype(*_: object) -> None:
        raise BrokenPart(f"{text.where} carries a document type declaration, which no BCF file needs.")

    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = words
    parser.StartDoctypeDeclHandler = doctype
    try:
        parser.Parse(text.utf8[lead:], True)
    except expat.ExpatError as error:
        raise BrokenPart(f"{text.where} is no sound XML ({error}).") from error
    return top.children[0]


def element(tag: str, text: str = "", *children: Node, **attributes: str) -> Node:
    """A new element; what XML cannot hold is replaced in its texts."""
    return Node(tag, "", {name: legal(each) for name, each in attributes.items()}, -1, -1, [*children], [legal(text)])


def written(node: Node, lead: str = "\n", unit: str = "  ", prefix: str = "") -> str:
    """A new element as text; ``prefix`` comes before the names of elements.

    Elements in it begin on lines of their own, with ``lead`` and a ``unit`` more for each level; a ``lead`` of ``""``
    keeps all on one line.
    """
    name, within = prefix + node.tag, lead and lead + unit
    start = "".join([name, *(f" {key}={quoteattr(value)}" for key, value in node.attributes.items())])
    if node.children:
        inside = "".join(within + written(child, within, unit, prefix) for child in node.children)
        return f"<{start}>{inside}{lead}</{name}>"
    return f"<{start}>{escape(node.text)}</{name}>" if node.text else f"<{start}/>"


def whole(root: Node) -> bytes:
    """A new document."""
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{written(root)}\n'.encode()
