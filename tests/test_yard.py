"""The yard of mock-ups: every layer well made in all of them and badly in one, found exactly, however it is written.

The values are those of the faults as drawn (the words of each bad sketch), never the checker's.
"""

from collections import defaultdict

import pytest

from checker.demo.sketched import families, write_yard
from checker.model import ModelFile
from checker.rule import load_rules
from checker.run import check
from checker.settings import Settings

AIR = "air-barrier-line"
TRUTH = {
    AIR: {AIR: 6455.0, "plinth-seal": 6455.0},
    "base-insulation": {"base-insulation": 6.0},
    "base-rail-drainage": {"base-rail-drainage": -30.0},
    "base-rail-joint": {"base-rail-joint": -18.0},
    "base-rail-offset": {"base-rail-offset": 13.0},
    "column-plinth-seal": {"column-plinth-seal": 120.0, AIR: 120.0},
    "column-seal": {"column-seal": 400.0, AIR: 400.0},
    "corner-flashing": {"corner-flashing": 30.0},
    "door-threshold-seal": {"door-threshold-seal": 3980.0, AIR: 3980.0},
    "eave-profile": {"eave-profile": 785.0},
    "fire-rated-seam": {"fire-rated-seam": 1000.0},
    "flashing-lap": {"flashing-lap": 60.0},
    "flashing-tape": {"flashing-tape": 1000.0},
    "gasket-compression": {"gasket-compression": 7.5},
    "inner-groove-sealant": {"inner-groove-sealant": 5.0},
    "membrane-clamp": {"membrane-clamp": 6470.0},
    "opening-gap": {"opening-gap": 14.0},
    "opening-insulation": {"opening-insulation": 30.0},
    "opening-seal": {"opening-seal": 980.0, AIR: 980.0},
    "outer-groove-sealant": {"outer-groove-sealant": 12.0},
    "panel-bearing": {"panel-bearing": 35.0},
    "panel-edge-gap": {"panel-edge-gap": 8.0},
    "panel-end-offset": {"panel-end-offset": 27.0},
    "panel-field": {"panel-field": 1000.0},
    "plinth-level": {"plinth-level": -14.0, "plinth-step": 14.0},
    "plinth-seal": {"plinth-seal": 5.0, AIR: 5.0},
    "plinth-step": {"plinth-step": 12.0, "plinth-level": -12.0},
    "roof-edge-seal": {"roof-edge-seal": 120.0},
    "roof-membrane-lap": {"roof-membrane-lap": 60.0},
    "row-alignment": {"row-alignment": 6.0},
    "seam-flashing": {"seam-flashing": 45.0},
    "seam-foam": {"seam-foam": 1000.0},
    "seam-insulation": {"seam-insulation": 30.0},
    "seam-tape": {"seam-tape": 25.0},
    "seam-width": {"seam-width": 21.0, "panel-end-offset": 6.0},
}
"""By the rule whose mock-up it is: every rule that fails there, and its value in mm; of what is missing over several
seams or walks the sum."""
SUMS = {(AIR, AIR), (AIR, "plinth-seal"), ("membrane-clamp", "membrane-clamp")}
GUISES = {
    "IFC4": {},
    "IFC2X3, feet": {"schema": "IFC2X3", "unit": "foot"},
    "IFC4X3, metres": {"schema": "IFC4X3", "unit": "m"},
    "turned by 17 degrees": {"turn_deg": 17.0},
    "IFC2X3, turned, feet": {"schema": "IFC2X3", "unit": "foot", "turn_deg": 17.0},
}
FAMILIES = families(load_rules())


def test_every_rule_has_its_mock_up():
    assert {rule.name for mine in FAMILIES.values() for rule in mine} == set(TRUTH)
    assert {rule.name for rule in load_rules()} == set(TRUTH)


@pytest.mark.parametrize("guise", GUISES)
@pytest.mark.parametrize("family", FAMILIES)
def test_each_fault_is_found_where_it_is_and_nothing_else(tmp_path, family, guise):
    rules, path = FAMILIES[family], tmp_path / "yard.ifc"
    owner = write_yard(path, rules, **GUISES[guise])
    result = check([ModelFile(path)], Settings(), load_rules(), lambda *_: None)
    found = defaultdict(lambda: defaultdict(list))
    for verdict in result.verdicts:
        assert verdict.state == "fail", verdict.message
        (mock_up,) = {owner[guid] for guid in verdict.elements}
        found[mock_up][verdict.rule].append(verdict.value_mm)
    assert set(found) == {rule.name for rule in rules}
    for mock_up, said in found.items():
        wanted = TRUTH[mock_up]
        assert set(said) == set(wanted), mock_up
        for rule, values in said.items():
            if (mock_up, rule) in SUMS:
                assert sum(values) == pytest.approx(wanted[rule], abs=20.0)  # seams end at panel ends, strips between
            else:
                assert values == pytest.approx([wanted[rule]] * len(values), abs=0.05)
    # Every layer of the family is well made elsewhere: its rule passes there.
    for line in result.coverage:
        if line.rule in {rule.name for rule in rules}:
            assert line.passed > 0, line.rule
