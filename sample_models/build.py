"""Writes the sample models anew: ``python -m sample_models.build`` from the root of the repository."""

from pathlib import Path

from checker.demo import DEFECTS, expected_text, seams_table, write_hall


def build(folder: Path) -> None:
    """Write the clean hall and the one with all defects, each with the truth beside it."""
    for name, defects in (("clean", ()), ("defects", tuple(DEFECTS))):
        truth = write_hall(folder / name, defects)
        (folder / name / "expected.txt").write_text(expected_text(truth), encoding="utf-8", newline="\n")
        (folder / name / "seams.truth.csv").write_text(seams_table(truth), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    build(Path(__file__).parent)
