"""The command line: the only place that prints and exits.

Results go to stdout, messages to stderr. Exit codes: 0 nothing at or above ``--fail-on``, 1 there is, 2 could not
check; a fault of our own is "could not check" too, so that no build takes it for a finding. For the same reason the IFC
kernel, compiled for each system, is imported inside the commands: where it does not load, `main` says so.
"""

import getpass
import json
import os
import sys
import traceback
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Final

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from checker import __version__, earlier
from checker.acceptances import a_day, looked_up, with_acceptance
from checker.earlier import found_before, outcome
from checker.errors import BadSettings, CannotCheck, did_you_mean
from checker.model import Model
from checker.nameless import nameless_at_facade
from checker.output.explain import proposed_roles, recognised, rule_in_full, rules_table, write_proposal
from checker.output.ids import ids_file
from checker.output.safely import replace_file
from checker.output.summary import comparison, plain, summary
from checker.result import SEVERITIES, Severity
from checker.rule import load_rules
from checker.settings import FILE_NAME, Acceptance, Settings, files_to_read, load_settings, settings_schema

OUT: Final = "seamtrace-out"
FOUND: Final = 1
COULD_NOT_CHECK: Final = 2


class FailOn(StrEnum):
    """From which severity on an open issue makes the check fail."""

    error = "error"
    warning = "warning"
    note = "note"
    never = "never"


class Format(StrEnum):
    """The files a check can write."""

    bcf = "bcf"
    json = "json"
    csv = "csv"


class BcfVersion(StrEnum):
    """The versions of BCF that can be written."""

    two = "2.1"
    three = "3.0"


Models = Annotated[
    list[Path] | None,
    typer.Argument(metavar="MODEL...", help="IFC files (.ifc or .ifcZIP); those of [models] when none is given."),
]
Config = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help=f"Project file; {FILE_NAME} of this folder when there is one."),
]

app = typer.Typer(
    help="Finds the seams between facade panels in IFC models, measures them and checks what should seal them.",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def main() -> None:
    """Run the command line and exit."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a name the terminal cannot show must not stop a check
    try:
        app()
    except CannotCheck as error:
        _tell(f"Error: {error}")
    except Exception:
        for line in traceback.format_exc().splitlines():
            _tell(line)
        _tell("Error: seamtrace itself failed, so nothing was checked. Please report this with the lines above.")
    sys.exit(COULD_NOT_CHECK)


@app.callback(invoke_without_command=True)
def _about(version: Annotated[bool, typer.Option("--version", help="Print the version and exit.")] = False) -> None:
    if version:
        _print(f"seamtrace {__version__}\n")
        raise typer.Exit


@app.command()
def check(
    models: Models = None,
    config: Config = None,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for the files written.")] = Path(OUT),
    fail_on: Annotated[FailOn, typer.Option(help="Exit with 1 from this severity on.")] = FailOn.error,
    formats: Annotated[
        list[Format] | None, typer.Option("--format", help="What to write; may be repeated. All when not given.")
    ] = None,
    bcf_version: Annotated[
        BcfVersion | None,
        typer.Option(help="Version of a new BCF file, 2.1 when not given; that of --previous keeps its own."),
    ] = None,
    previous: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="issues.bcf of the previous release: go on with it, tell what has changed."),
    ] = None,
) -> None:
    """Find and measure the seams, check them, write the results."""
    from checker import run

    settings = _settings(config)
    before = run.previous_release(previous, settings, load_rules()) if previous else None
    with _progress() as progress:
        result = run.check(files_to_read(models or [], settings), settings, load_rules(), progress, before)
        asked = [Format(each).value for each in dict.fromkeys(formats or Format)]
        written = run.write(result, out, asked, before, bcf_version.value if bcf_version else None)
    _print(summary(replace(result, notes=(*result.notes, *written.notes)), written.files))
    _warn(result.model)
    if result.unchecked:
        raise CannotCheck(result.unchecked)
    _exit(fail_on, {severity: result.count(severity) + result.remarked(severity) for severity in SEVERITIES})


@app.command()
def compare(
    old: Annotated[Path, typer.Argument(metavar="OLD_OUT", help="Output folder of the earlier release.")],
    new: Annotated[Path, typer.Argument(metavar="NEW_OUT", help="Output folder of the later release.")],
    fail_on: Annotated[FailOn, typer.Option(help="Exit with 1 from this severity on.")] = FailOn.error,
) -> None:
    """Tell what has changed between two releases that were checked."""
    later = outcome(new)
    _print(comparison(earlier.compare(outcome(old), later)))
    if later.unchecked:
        raise CannotCheck(later.unchecked)
    _exit(fail_on, later.open)


@app.command()
def accept(
    key: Annotated[str, typer.Argument(metavar="KEY", help="The eight digits that a report shows for the issue.")],
    until: Annotated[str, typer.Option(metavar="DAY", help="Last day on which it holds, such as 2026-12-31.")],
    reason: Annotated[str, typer.Option(metavar="TEXT", help="Why the project can live with it.")],
    upto: Annotated[
        float | None, typer.Option(metavar="MM", help="Holds only while the worst value is not worse than this.")
    ] = None,
    by: Annotated[str | None, typer.Option(metavar="NAME", help="Who decided; the user when not given.")] = None,
    config: Annotated[
        Path | None, typer.Option(metavar="FILE", help=f"Project file; {FILE_NAME} of this folder when not given.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help=f"Output folder of the last check, to look the key up; {OUT} if it is there."),
    ] = None,
) -> None:
    """Record in the project file that the project lives with an issue, up to a value and until a day."""
    acceptance = Acceptance(key.strip().lower(), a_day(until), reason, by or _who(), upto)
    path = Path(os.path.realpath(config or FILE_NAME))
    try:
        data = path.read_bytes() if path.exists() else b""
    except OSError as error:
        raise BadSettings(f"{path}: cannot be read ({error.strerror}). Name another file with --config.") from None
    for line in looked_up(acceptance, found_before(out or Path(OUT)), out or Path(OUT), required=out is not None):
        _tell(line)
    replace_file(path, with_acceptance(path, data, acceptance, load_rules()))
    _print(plain(f"{path.name}: {acceptance.issue} is accepted until {acceptance.until} by {acceptance.by}.") + "\n")


def _who() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        raise BadSettings("Nobody is logged in by name: say with --by who decided.") from None


def _exit(fail_on: FailOn, open_issues: Mapping[Severity, int]) -> None:
    """Exit with 1 where there are open issues that are grave enough."""
    if fail_on is not FailOn.never:
        grave = SEVERITIES[: SEVERITIES.index(fail_on.value) + 1]
        if any(open_issues.get(severity, 0) for severity in grave):
            raise typer.Exit(FOUND)


@app.command()
def roles(
    models: Models = None,
    config: Config = None,
    write: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Propose a [roles] section: write it to a new file, or print it with -."),
    ] = None,
) -> None:
    """Show what was recognised as what, and what at the facade was not."""
    from checker import run

    settings = _settings(config)
    with _progress() as progress:
        model = run.recognise(files_to_read(models or [], settings), settings, progress, everything=True)
    _warn(model)
    nameless = nameless_at_facade(model)
    if write is None:
        _print(recognised(model, nameless))
    elif write == Path("-"):
        _print(proposed_roles(model, nameless))
    else:
        write_proposal(write, proposed_roles(model, nameless))
        _tell(f"Written: {write}")


@app.command()
def rules(name: Annotated[str | None, typer.Argument(metavar="NAME", help="One rule, in full.")] = None) -> None:
    """List the rules with their limits and basis, or show one in full."""
    known = {rule.name: rule for rule in load_rules()}
    if name is None:
        _print(rules_table(tuple(known.values())))
    elif name in known:
        _print(rule_in_full(known[name]))
    else:
        raise BadSettings(f"There is no rule '{name}'. {did_you_mean(name, known)}")


@app.command()
def sample(folder: Annotated[Path, typer.Argument(metavar="DIR", help="Where to write them.")]) -> None:
    """Write models of a made-up hall, one clean and one with defects."""
    from checker.demo import DEFECTS, write_hall

    for name, defects in (("clean", ()), ("defects", tuple(DEFECTS))):
        place = folder / name
        try:
            if place.is_dir() and any(place.iterdir()):
                raise CannotCheck(f"{place}: is not empty and was left as it is. Name another folder.")
            written = write_hall(place, defects).files
        except OSError as error:
            raise CannotCheck(f"{place}: cannot be written ({error.strerror}). Name another folder.") from None
        for path in written:
            _print(f"{plain(str(path))}\n")


@app.command()
def ids() -> None:
    """Print an IDS 1.0 file that asks designers to state the layers they do not draw."""
    _print(ids_file(load_rules()).decode())


@app.command()
def settings() -> None:
    """Print the JSON Schema of the project file, with which editors complete it."""
    _print(json.dumps(settings_schema(load_rules()), indent=2, ensure_ascii=False) + "\n")


def _settings(config: Path | None) -> Settings:
    here = Path(FILE_NAME)
    if config is None and here.is_file():
        _tell(f"Settings: {here} of this folder.")
        config = here
    return load_settings(config, load_rules())


@contextmanager
def _progress() -> Iterator[Callable[[str, float], None]]:
    """What to call with a text and the share done (0 to 1): a bar on a terminal, nothing in a pipe."""
    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda text, share: None
        return
    shape = (TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn())
    with Progress(*shape, console=console, transient=True) as bar:
        task = bar.add_task("", total=1.0)
        yield lambda text, share: bar.update(task, description=plain(text), completed=share)


def _print(text: str) -> None:
    """Results. A reader that has gone away, such as ``head``, changes nothing about the exit code."""
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _warn(model: Model) -> None:
    """What makes results of these models doubtful, for those who read messages only."""
    for one in model.intake:
        for remark in one.remarks:
            if remark.severity != "note":
                _tell(f"Warning: {remark.text}")


def _tell(text: str) -> None:
    """Messages."""
    print(plain(text), file=sys.stderr)
