"""A facade of panels and columns only: findings on its seams, one line for each layer that is not drawn, no flood."""

import pytest
from drawn import RULES
from facades import FAR, Site, round_a_hall, sandwich, write

from checker.model import ModelFile
from checker.output.summary import summary
from checker.run import check
from checker.settings import Settings

SEAM_RULES = {"seam-width", "panel-end-offset", "panel-bearing", "panel-edge-gap", "panel-field", "row-alignment"}


def checked(folder, site=FAR, widths=None, **chosen):
    """A hall of four sides, three rows high, without a single seal; ``widths`` are of the first side."""
    pieces = []
    for i, stretch in enumerate(round_a_hall(24_000, 18_000)):
        bays = 4 if i % 2 == 0 else 3
        pieces += sandwich(bays, 3, stretch, f"s{i}", widths if i == 0 and widths else {})
    files = [ModelFile(path) for path in write(pieces, folder, site)]
    return check(files, Settings(**chosen), list(RULES.values()), lambda what, share: None)


@pytest.mark.parametrize("site", [Site(), FAR, Site(17.0, schema="IFC2X3"), Site(17.0, unit="m", schema="IFC4X3")])
def test_only_seams_are_found(tmp_path, site):
    result = checked(tmp_path, site, {(2, 1): 46.0})
    assert {issue.rule for issue in result.issues} <= SEAM_RULES
    (wide,) = [issue for issue in result.issues if issue.rule == "seam-width"]
    assert wide.worst_mm == pytest.approx(46.0, abs=0.05)
    assert len(result.issues) <= 3


def test_each_layer_that_is_not_drawn_is_one_line(tmp_path):
    result = checked(tmp_path)
    assert not result.issues
    assert not result.verdicts
    for line in result.coverage:
        layered = RULES[line.rule].layer is not None
        assert line.subjects == (line.not_modelled if layered else line.passed + line.not_modelled)
    told = summary(result, []).splitlines()
    assert all(sum(text.startswith(f"{rule} ") for text in told) == 1 for rule in RULES)


def test_a_required_layer_is_one_issue_however_many_seams_lack_it(tmp_path):
    result = checked(tmp_path, layers={"seam-foam": "required"})
    (issue,) = result.issues
    assert issue.rule == "seam-foam"
    assert len(issue.members) == next(line.failed for line in result.coverage if line.rule == "seam-foam") > 20
