"""Outputs are old or new, whole, whatever happens in between."""

import errno
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from checker.errors import CannotCheck
from checker.output import safely
from checker.output.safely import renew_file, replace_file, replace_many


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


locks = pytest.mark.skipif(safely.fcntl is None, reason="this system has no locks on folders")


@locks
def test_what_a_killed_run_left_is_cleared_away_by_the_next(tmp_path):
    script = (
        "import os, sys; from pathlib import Path; from checker.output.safely import replace_many\n"
        "replace_many({Path(sys.argv[1]): b'new'}, lambda: os.kill(os.getpid(), 9))"
    )
    replace_file(tmp_path / "issues.bcf", b"old")
    for name in (".notes.part", "plan.0123456789ab.part", ".plan.0123.part"):
        (tmp_path / name).touch()
    path = {"PYTHONPATH": str(Path(__file__).parent.parent)}
    ended = subprocess.run([sys.executable, "-c", script, str(tmp_path / "issues.bcf")], env=path, check=False)
    assert ended.returncode == -9
    assert (tmp_path / "issues.bcf").read_bytes() == b"old"
    assert len(list(tmp_path.iterdir())) == 5
    replace_file(tmp_path / "seams.csv", b"")
    assert sorted(each.name for each in tmp_path.iterdir()) == [
        ".notes.part",
        ".plan.0123.part",
        "issues.bcf",
        "plan.0123456789ab.part",
        "seams.csv",
    ]


@locks
def test_what_cannot_be_cleared_away_stops_nobody(tmp_path):
    (tmp_path / ".one.0123456789ab.part").mkdir()
    replace_file(tmp_path / "one", b"new")
    assert (tmp_path / "one").read_bytes() == b"new"


@locks
def test_changes_of_several_runs_at_once_are_all_kept(tmp_path):
    script = (
        "import sys; from pathlib import Path; from checker.output.safely import renew_file\n"
        "for n in range(20): renew_file(Path(sys.argv[1]), lambda data: data + sys.argv[2].encode())"
    )
    path = {"PYTHONPATH": str(Path(__file__).parent.parent)}
    command = [sys.executable, "-c", script, str(tmp_path / "new" / "file")]
    runs = [subprocess.Popen([*command, word], env=path) for word in "abc"]
    assert [run.wait() for run in runs] == [0, 0, 0]
    assert "".join(sorted((tmp_path / "new" / "file").read_text())) == "a" * 20 + "b" * 20 + "c" * 20
    assert [each.name for each in (tmp_path / "new").iterdir()] == ["file"]


@locks
def test_a_run_that_hangs_is_not_waited_for_without_end(tmp_path, monkeypatch):
    monkeypatch.setattr(safely, "LONGEST_WAIT_S", 0.0)

    def meanwhile():
        with pytest.raises(CannotCheck, match="one: another run has been writing in this folder"):
            replace_file(tmp_path / "one", b"theirs")

    replace_many({tmp_path / "one": b"ours"}, meanwhile)
    assert [(each.name, each.read_bytes()) for each in tmp_path.iterdir()] == [("one", b"ours")]


def test_where_folders_cannot_be_locked_files_are_written_all_the_same(tmp_path, monkeypatch):
    (tmp_path / ".one.0123456789ab.part").touch()
    monkeypatch.setattr(safely, "fcntl", None)
    renew_file(tmp_path / "one", lambda data: data + b"new")
    assert sorted(each.name for each in tmp_path.iterdir()) == [".one.0123456789ab.part", "one"]


@pytest.mark.skipif(os.name != "posix", reason="links and permission bits")
def test_a_link_stays_a_link_and_permissions_stay(tmp_path):
    (tmp_path / "shared").mkdir()
    file, link = tmp_path / "shared" / "issues.bcf", tmp_path / "issues.bcf"
    replace_file(file, b"old")
    file.chmod(0o664)
    link.symlink_to(file)
    replace_file(link, b"new")
    assert link.is_symlink()
    assert (file.read_bytes(), stat.S_IMODE(file.stat().st_mode)) == (b"new", 0o664)
    loop = tmp_path / "loop"
    loop.symlink_to(loop)
    replace_file(loop, b"whole")
    assert loop.read_bytes() == b"whole"


def test_a_file_that_cannot_be_read_is_not_renewed(tmp_path):
    with pytest.raises(CannotCheck, match="cannot be read"):
        renew_file(tmp_path, lambda data: data)
