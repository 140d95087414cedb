"""What all tests share."""

import os
import sys
from types import SimpleNamespace

import pytest
from hypothesis import settings

from checker import cli
from checker.output import picture

# A busy machine must not fail a test, and a build must not find by chance what the next one does not.
settings.register_profile("steady", deadline=None, derandomize="CI" in os.environ)
settings.load_profile("steady")


@pytest.fixture(scope="session", autouse=True)
def small_pictures():
    """Pictures as of a run with thousands of them: five times quicker. Who looks at pictures sets the size."""
    usual = picture.SIZES
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(picture, "SIZES", usual[-1:])
        yield usual


@pytest.fixture
def call(capsys, monkeypatch, tmp_path):
    """Runs the command line in a folder of its own; gives exit code, stdout and stderr."""
    monkeypatch.chdir(tmp_path)

    def command(*arguments):
        monkeypatch.setattr(sys, "argv", ["seamtrace", *map(str, arguments)])
        with pytest.raises(SystemExit) as end:
            cli.main()
        printed = capsys.readouterr()
        return SimpleNamespace(code=end.value.code or 0, out=printed.out, err=printed.err)

    return command
