"""Parts of BCF files of our own, by the letter of the schemas of 2.1 and of 3.0.

Both versions come from one description. They differ in where things stand and what they are called; each difference is
told once, where it is.
"""

from collections.abc import Iterable, Sequence

from checker.bcf.records import BcfVersion, Comment, HeaderFile, Point, Seen, Topic, View
from checker.bcf.xml import Node, element, whole


def version_file(version: BcfVersion) -> bytes:
    """``bcf.version``."""
    detail = [] if version == "3.0" else [element("DetailedVersion", version)]
    return whole(element("Version", "", *detail, VersionId=version))


def project_file(version: BcfVersion, project: str, name: str) -> bytes:
    """``project.bcfp``; ``project`` must not be blank, ``name`` may."""
    node = element("Project", "", *_texts(Name=name), ProjectId=project)
    if version == "3.0":
        return whole(element("ProjectInfo", "", node))
    # 2.1 asks for a schema of allowed words. Its own sample of one cannot be loaded, so none is named: any word goes.
    return whole(element("ProjectExtension", "", node, element("ExtensionSchema")))


def extensions_file(types: Sequence[str], statuses: Sequence[str], priorities: Sequence[str]) -> bytes:
    """``extensions.xml`` of 3.0. There is no list of labels, users or stages: of those every word is allowed."""
    lists = (("TopicTypes", "TopicType", types), ("TopicStatuses", "TopicStatus", statuses))
    return whole(
        element(
            "Extensions",
            "",
            *(
                element(group, "", *(element(tag, word) for word in words))
                for group, tag, words in (*lists, ("Priorities", "Priority", priorities))
            ),
        )
    )


def markup_file(version: BcfVersion, topic: Topic, models: Sequence[HeaderFile]) -> bytes:
    """``markup.bcf``. Of a topic, title, type, status, date and author of its creation must not be blank."""
    inside = version == "3.0"
    external = {"IsExternal" if inside else "isExternal": "true"}
    files = [
        element(
            "File",
            "",
            *_texts(Filename=model.name, Date=model.date),
            **external,
            **({"IfcProject": model.project} if model.project else {}),
        )
        for model in models
    ]
    comments = [comment_element(comment) for comment in topic.comments]
    views = [view_element(version, view, number) for number, view in enumerate(topic.views)]
    node = element(
        "Topic",
        "",
        *_texts(Title=topic.title, Priority=topic.priority),
        *_listed(inside, "Labels", [element("Label" if inside else "Labels", label) for label in topic.labels]),
        *_texts(
            CreationDate=topic.created,
            CreationAuthor=topic.author,
            ModifiedDate=topic.modified,
            ModifiedAuthor=topic.modified_by,
            DueDate=topic.due,
            AssignedTo=topic.assigned,
            Stage=topic.stage,
            Description=topic.description,
        ),
        *((*_listed(inside, "Comments", comments), *_listed(inside, "Viewpoints", views)) if inside else ()),
        Guid=topic.guid,
        TopicType=topic.type,
        TopicStatus=topic.status,
    )
    header = [element("Header", "", *_listed(inside, "Files", files))] if files else []
    return whole(element("Markup", "", *header, node, *(() if inside else (*comments, *views))))


def comment_element(comment: Comment) -> Node:
    """A comment, the same in both versions."""
    view = [element("Viewpoint", Guid=comment.viewpoint)] if comment.viewpoint else []
    texts = _texts(Date=comment.date, Author=comment.author, Comment=comment.text)
    return element("Comment", "", *texts, *view, Guid=comment.guid)


def view_element(version: BcfVersion, view: View, number: int) -> Node:
    """The entry of a viewpoint; ``number`` is its place among those of its topic, from 0."""
    texts = _texts(Viewpoint=view.file, Snapshot=view.snapshot, Index=str(number))
    return element("ViewPoint" if version == "3.0" else "Viewpoints", "", *texts, Guid=view.guid)


def view_files(view: str, first: bool) -> tuple[str, str]:
    """Names of a viewpoint's file and its picture, by its GUID; ``first`` of its topic or not.

    2.1 wants these names in each topic; they stay with the oldest viewpoint. To 3.0 any name will do.
    """
    return ("viewpoint.bcfv", "snapshot.png") if first else (f"{view}.bcfv", f"{view}.png")


def view_file(version: BcfVersion, guid: str, seen: Seen, ratio: float) -> bytes:
    """The file of a viewpoint; ``ratio`` is the width of its picture by the height, which 3.0 wants to know."""
    third = version == "3.0"
    hints = element("ViewSetupHints", SpacesVisible="false", SpaceBoundariesVisible="false", OpeningsVisible="false")
    colours = [
        element("Color", "", *_listed(third, "Components", _components(guids)), Color=colour)
        for colour, guids in seen.coloured
    ]
    components = element(
        "Components",
        "",
        *([] if third else [hints]),
        *_listed(True, "Selection", _components(seen.selected)),
        element("Visibility", "", *([hints] if third else []), DefaultVisibility="true"),
        *_listed(True, "Coloring", colours),
    )
    camera = element(
        "OrthogonalCamera" if seen.height_m else "PerspectiveCamera",
        "",
        _vector("CameraViewPoint", seen.eye),
        _vector("CameraDirection", seen.direction),
        _vector("CameraUpVector", seen.up),
        _number("ViewToWorldScale", seen.height_m) if seen.height_m else _number("FieldOfView", seen.field_of_view_deg),
        *([_number("AspectRatio", ratio)] if third else []),
    )
    lines = [element("Line", "", _vector("StartPoint", start), _vector("EndPoint", end)) for start, end in seen.lines]
    planes = [
        element("ClippingPlane", "", _vector("Location", on), _vector("Direction", towards))
        for on, towards in seen.clips
    ]
    more = (*_listed(True, "Lines", lines), *_listed(True, "ClippingPlanes", planes))
    return whole(element("VisualizationInfo", "", components, camera, *more, Guid=guid))


def _texts(**texts: str) -> list[Node]:
    """Elements with texts, without those that are blank: 3.0 forbids them, and in 2.1 they say nothing."""
    return [element(tag, text) for tag, text in texts.items() if text.strip()]


def _listed(wrapped: bool, tag: str, items: list[Node]) -> list[Node]:
    """A list as it is written: in an element of its own, or as it is. An empty one is left out, as 2.1 demands."""
    return [element(tag, "", *items)] if wrapped and items else items


def _components(guids: Iterable[str]) -> list[Node]:
    return [element("Component", IfcGuid=guid) for guid in guids]


def _vector(tag: str, vector: Point) -> Node:
    return element(tag, "", *(_number(axis, value) for axis, value in zip("XYZ", vector, strict=True)))


def _number(tag: str, value: float) -> Node:
    # In full: viewers meet coordinates of a map with places of a millimetre.
    return element(tag, repr(float(value)))
