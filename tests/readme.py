"""Writes the generated parts of README.md: the summary of the sample run and the table of rules."""

import sys
from pathlib import Path

from checker import run
from checker.output.summary import summary
from checker.rule import load_rules
from checker.settings import Settings, files_to_read

ROOT = Path(__file__).parent.parent


def sample_summary() -> str:
    """What the first command of the README prints."""
    files = sorted((ROOT / "sample_models" / "defects").glob("*.ifc"))
    result = run.check(files_to_read(files, Settings()), Settings(), load_rules(), lambda what, share: None)
    written = [Path("seamtrace-out") / name for name in ("issues.bcf", "findings.json", "seams.csv")]
    return "```text\n" + summary(result, written).strip() + "\n```"


def rules_table() -> str:
    """The rules with what must hold, limits, basis and source, good and bad sketch, as Markdown."""
    lines = [
        "| rule | what must hold | limits | basis and source | well made | badly made |",
        "|---|---|---|---|---|---|",
    ]
    for rule in load_rules():
        limits, basis = [], []
        for name, field in rule.limits.__dataclass_fields__.items():
            value = str(field.default).lower() if isinstance(field.default, bool) else f"{field.default:g}"
            limits.append(f"`{name}` {value}")
            basis.append(f"{field.metadata['basis']}: {field.metadata['source']}")
        told = "; ".join(dict.fromkeys(basis))
        sketches = f"{rule.good.describe()} | {rule.bad.describe()}"
        lines.append(f"| `{rule.name}` | {rule.title} | {'; '.join(limits)} | {told} | {sketches} |")
    return "\n".join(lines)


def refreshed(text: str) -> str:
    """The README with its generated parts made anew."""
    for name, made in (("summary", sample_summary()), ("rules", rules_table())):
        begin, end = f"<!-- {name}: begin (python tests/readme.py) -->", f"<!-- {name}: end -->"
        head, rest = text.split(begin)
        text = f"{head}{begin}\n\n{made}\n\n{end}{rest.split(end)[1]}"
    return text


if __name__ == "__main__":
    readme = ROOT / "README.md"
    readme.write_text(refreshed(readme.read_text(encoding="utf-8")), encoding="utf-8")
    sys.exit(0)
