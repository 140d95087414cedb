"""What the README claims is what happens."""

from readme import ROOT, refreshed


def test_generated_parts_are_fresh():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert refreshed(text) == text, "run: python tests/readme.py"
