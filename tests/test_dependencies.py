"""What the package imports is what its users get installed."""

import ast
import re
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parent.parent


def test_every_import_is_declared():
    """An editable install has the tools of the tests as well, so that only this tells when one of them is needed."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {re.match(r"[\w-]+", line)[0] for line in project["dependencies"]}
    imported = set()
    for package in ("checker", "rules"):
        for file in (ROOT / package).rglob("*.py"):
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Import):
                    imported |= {name.name.partition(".")[0] for name in node.names}
                elif isinstance(node, ast.ImportFrom) and node.module:
                    imported.add(node.module.partition(".")[0])
    assert imported - sys.stdlib_module_names - {"checker", "rules"} == declared
