"""Outputs are old or new, whole, whatever happens in between."""

import errno
import os
import stat

import pytest

from checker.errors import CannotCheck
from checker.output import safely
from checker.output.safely import replace_file, replace_many


def test_files_are_written_and_nothing_is_left_beside_them(tmp_path):
    replace_many({tmp_path / "a": b"1", tmp_path / "new" / "b": b"2"})
    replace_file(tmp_path / "a", b"3")
    assert {p.relative_to(tmp_path).as_posix(): p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == {
        "a": b"3",
        "new/b": b"2",
    }


@pytest.mark.skipif(os.name != "posix", reason="permission bits")
def test_files_can_be_read_by_whom_the_system_lets(tmp_path):
    before = os.umask(0o027)
    try:
        replace_file(tmp_path / "a", b"")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o640


@pytest.mark.parametrize("broken", ["write", "sync", "rename"])
@pytest.mark.parametrize("crash", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt()])
def test_a_crash_on_the_second_file_leaves_every_file_whole(tmp_path, monkeypatch, broken, crash):
    one, two = tmp_path / "one", tmp_path / "two"
    replace_many({one: b"old", two: b"old"})
    calls = []

    def failing(function):
        def call(*arguments):
            calls.append(function)
            if len(calls) == 2:
                raise crash
            return function(*arguments)

        return call

    if broken == "write":
        monkeypatch.setattr(safely, "_write_through", failing(safely._write_through))
    else:
        name = {"sync": "fsync", "rename": "replace"}[broken]
        monkeypatch.setattr(safely.os, name, failing(getattr(os, name)))
    with pytest.raises(CannotCheck if isinstance(crash, OSError) else KeyboardInterrupt):
        replace_many({one: b"new", two: b"new"})
    assert two.read_bytes() == b"old"
    assert one.read_bytes() == (b"new" if broken == "rename" else b"old")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["one", "two"]


def test_a_folder_in_the_way_is_said_in_one_sentence_before_anything_is_replaced(tmp_path):
    replace_file(tmp_path / "one", b"old")
    (tmp_path / "two").mkdir()
    with pytest.raises(CannotCheck, match=r"two: cannot be written \(a folder has this name\)"):
        replace_many({tmp_path / "one": b"new", tmp_path / "two": b"new"})
    assert (tmp_path / "one").read_bytes() == b"old"


def test_a_file_in_place_of_the_folder_is_said_in_one_sentence(tmp_path):
    replace_file(tmp_path / "out", b"")
    with pytest.raises(CannotCheck, match="cannot be written"):
        replace_file(tmp_path / "out" / "issues.bcf", b"")


def test_a_last_look_that_finds_fault_leaves_every_file_as_it_was(tmp_path):
    one, two = tmp_path / "one", tmp_path / "two"
    replace_file(one, b"old")

    def finds_fault():
        assert one.read_bytes() == b"old"
        assert len(list(tmp_path.iterdir())) == 3, "both are written beside their places"
        raise CannotCheck("somebody was here")

    with pytest.raises(CannotCheck, match="somebody was here"):
        replace_many({one: b"new", two: b"new"}, finds_fault)
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("one", b"old")]
