"""The next ``issues.bcf``: that of the previous release with what there is to be said now, and nothing else changed."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Final

from checker.bcf.reading import moment
from checker.bcf.records import Comment, Container, Edit, Topic
from checker.bcf.splicing import Updated, update
from checker.bcf.xml import legal
from checker.output.bcf import AUTHOR, left_out, new_topics, new_views
from checker.result import Result

_FIRST_DATE: Final = datetime(2000, 1, 1, tzinfo=UTC)
_LAST_DATE: Final = datetime(9999, 12, 31, 23, 59, 58, tzinfo=UTC)


def updated_bcf(result: Result, saved: str, found: Container) -> Updated:
    """A BCF file with the topics and comments that a run adds; ``saved`` is the time of the run."""
    topics = {topic.guid: topic for topic in reversed(found.topics) if not topic.fault}
    changes = [change for change in (result.changes.issues if result.changes else ()) if change.remark]
    fresh = [result.issues[c.issue] for c in changes if c.issue is not None and c.topic not in topics]
    shown = [c for c in changes if c.issue is not None and c.topic in topics and c.remark and c.remark.view]
    views = dict(
        zip(
            (change.topic for change in shown),
            new_views(result.model, [result.issues[c.issue] for c in shown if c.issue is not None], found.version),
            strict=True,
        )
    )
    edits = []
    for change in changes:
        if change.topic in topics and change.remark:
            seen = views.get(change.topic, ())
            comment = Comment(
                guid=change.remark.guid,
                date=comment_date(saved, topics[change.topic]),
                author=AUTHOR,
                text=legal(change.remark.text),
                viewpoint=seen[0].guid if seen else "",
            )
            edits.append(Edit(change.topic, comment, change.remark.status, seen))
    done = update(found, edits, list(new_topics(result, fresh, saved, found)), saved)
    return replace(done, notes=(*done.notes, *left_out(result, fresh, found)))


def comment_date(saved: str, topic: Topic) -> str:
    """When a comment is dated: at the time of the release, but after all that stands in the topic.

    Clocks go wrong; a list of comments must still read in the order in which they were written.
    """
    newest = moment(saved)
    for text in (topic.created, topic.modified, *(comment.date for comment in topic.comments)):
        date = moment(text)
        if date is not None and newest is not None and date >= newest:
            newest = min(date, _LAST_DATE) + timedelta(seconds=1)
    return (newest or _FIRST_DATE).replace(microsecond=0).strftime("%Y-%m-%dT%H:%M:%SZ")
