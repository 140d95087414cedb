"""Writes the sample models anew: ``python -m sample_models.build`` from the root of the repository."""

from pathlib import Path

from checker.demo import DEFECTS, expected_text, seams_table, write_hall
from checker.demo.releases import write_releases
from checker.demo.sketched import families, write_sketch, write_yard
from checker.rule import load_rules

ALSO = {
    "air-barrier-line": "plinth-seal",
    "column-plinth-seal": "air-barrier-line",
    "column-seal": "air-barrier-line",
    "door-threshold-seal": "air-barrier-line",
    "opening-seal": "air-barrier-line",
    "plinth-level": "plinth-step",
    "plinth-seal": "air-barrier-line",
    "plinth-step": "plinth-level",
    "seam-width": "panel-end-offset",
}
"""What the bad facade of a rule breaks besides."""


def build(folder: Path) -> None:
    """Write the clean hall and the one with all defects, and a good and a bad facade per rule, each with the truth.

    Three releases of the hall come besides, and a yard of mock-ups in which each fault of the small facades is built
    once; what is to become of their issues is written by hand.
    """
    for name, defects in (("clean", ()), ("defects", tuple(DEFECTS))):
        truth = write_hall(folder / name, defects)
        (folder / name / "expected.txt").write_text(expected_text(truth), encoding="utf-8", newline="\n")
        (folder / name / "seams.truth.csv").write_text(seams_table(truth), encoding="utf-8", newline="\n")
    write_releases(folder / "releases")
    yard = folder / "yard"
    yard.mkdir(parents=True, exist_ok=True)
    for family, rules in families(load_rules()).items():
        write_yard(yard / f"{family}.ifczip", rules)
    small = folder / "rules"
    small.mkdir(parents=True, exist_ok=True)
    said = []
    for rule in load_rules():
        stem = rule.name.replace("-", "_")
        for name, sketch in (("good", rule.good), ("bad", rule.bad)):
            write_sketch(small / f"{name}_{stem}.ifc", sketch)
        fails = " and ".join(filter(None, (rule.name, ALSO.get(rule.name))))
        said.append(f"bad_{stem}.ifc: fails {fails}\n  {rule.bad.words}\n")
    said.append("good_*.ifc: nothing fails\n")
    (small / "expected.txt").write_text("".join(said), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    build(Path(__file__).parent)
