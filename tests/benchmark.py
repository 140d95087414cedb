"""How long a large hall takes, as ratios against a plain script on the same file in the same run.

    python tests/benchmark.py [--panels 2000] [--runs 3]

The plain script opens the file and lets the geometry kernel, as it comes, turn the same elements into triangles: what
anybody would write first, before a single seam is measured. Not a test: numbers depend on the machine, ratios less so.
"""

import argparse
import math
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

BAY, ROW, FOOT = 6000.0, 1000.0, 370.0

PLAIN = """
import sys, ifcopenshell, ifcopenshell.geom
model = ifcopenshell.open(sys.argv[1])
classes = ("IfcPlate", "IfcColumn", "IfcMember", "IfcFooting", "IfcDiscreteAccessory")
wanted = [element for name in classes for element in model.by_type(name)]
iterator = ifcopenshell.geom.iterator(ifcopenshell.geom.settings(), model, 1, include=wanted)
count, more = 0, iterator.initialize()
while more:
    count += len(iterator.get().geometry.verts) > 0
    more = iterator.next()
print(count)
"""

OURS = """
import sys
from pathlib import Path
from checker import run
from checker.rule import load_rules
from checker.settings import Settings, files_to_read
if __name__ == "__main__":
    files = files_to_read([Path(sys.argv[1])], Settings())
    result = run.check(files, Settings(), load_rules(), lambda what, share: None)
    run.write(result, Path(sys.argv[-1]), sys.argv[2:-1])
    print(result.panels, len(result.verdicts), len(result.issues))
"""


class Writer:
    """A hall of many bays as IFC text: four sides, every panel with its column, seals, foam, plinth and rail."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.count = 0

    def add(self, text: str) -> str:
        self.lines.append(f"#{len(self.lines) + 1}={text};")
        return f"#{len(self.lines)}"

    def place(self, x: float, y: float, angle: float) -> str:
        point = self.add(f"IFCCARTESIANPOINT(({x:.3f},{y:.3f},0.))")
        direction = self.add(f"IFCDIRECTION(({math.cos(angle):.12f},{math.sin(angle):.12f},0.))")
        axes = self.add(f"IFCAXIS2PLACEMENT3D({point},{self.up},{direction})")
        return self.add(f"IFCLOCALPLACEMENT($,{axes})")

    def block(self, name: str, ifc_class: str, place: str, x: tuple, y: tuple, z: tuple, tail: str = "") -> None:
        """A block: x along the side, y into the building (world axes of the side's placement), z up; mm."""
        self.count += 1
        centre = self.add(f"IFCCARTESIANPOINT(({(x[0] + x[1]) / 2:.3f},{(y[0] + y[1]) / 2:.3f}))")
        middle = self.add(f"IFCAXIS2PLACEMENT2D({centre},$)")
        profile = self.add(f"IFCRECTANGLEPROFILEDEF(.AREA.,$,{middle},{x[1] - x[0]:.3f},{y[1] - y[0]:.3f})")
        foot = self.add(f"IFCCARTESIANPOINT((0.,0.,{z[0]:.3f}))")
        axes = self.add(f"IFCAXIS2PLACEMENT3D({foot},$,$)")
        solid = self.add(f"IFCEXTRUDEDAREASOLID({profile},{axes},{self.up},{z[1] - z[0]:.3f})")
        body = self.add(f"IFCSHAPEREPRESENTATION({self.context},'Body','SweptSolid',({solid}))")
        shape = self.add(f"IFCPRODUCTDEFINITIONSHAPE($,$,({body}))")
        guid = f"{self.count:022d}"
        self.add(f"{ifc_class}('{guid}',$,'{name}',$,$,{place},{shape},$" + tail + ")")

    def hall(self, panels: int, rows: int = 8) -> str:
        self.up = self.add("IFCDIRECTION((0.,0.,1.))")
        origin = self.add("IFCCARTESIANPOINT((0.,0.,0.))")
        axes = self.add(f"IFCAXIS2PLACEMENT3D({origin},$,$)")
        self.context = self.add(f"IFCGEOMETRICREPRESENTATIONCONTEXT($,'Model',3,1.E-05,{axes},$)")
        length = self.add("IFCSIUNIT(*,.LENGTHUNIT.,.MILLI.,.METRE.)")
        units = self.add(f"IFCUNITASSIGNMENT(({length}))")
        self.add(f"IFCPROJECT('{'P' * 22}',$,'Benchmark',$,$,$,$,({self.context}),{units})".replace("PPPP", "1PPP", 1))
        bays = max(1, round(panels / rows / 4))
        top = FOOT + rows * ROW
        span = bays * BAY + 400.0
        corners = [(200, 0), (span, 200), (span - 200, span), (0, span - 200)]
        for side, (x, y) in enumerate(corners):
            place = self.place(x, y, side * math.pi / 2)
            for axis in range(bays + 1):
                u = axis * BAY
                self.block("Column", "IFCCOLUMN", place, (u - 100, u + 100), (0, 190), (-500, top), ",.COLUMN.")
                for name, ends in (("left", (u - 60, u - 20)), ("right", (u + 20, u + 60))):
                    if (name, axis) not in (("left", 0), ("right", bays)):
                        self.block(
                            "Column seal strip",
                            "IFCDISCRETEACCESSORY",
                            place,
                            ends,
                            (-8, 0),
                            (FOOT, top),
                            ",.USERDEFINED.",
                        )
                if 0 < axis < bays:
                    self.block(
                        "Seam foam",
                        "IFCDISCRETEACCESSORY",
                        place,
                        (u - 15, u + 15),
                        (-58, -8),
                        (FOOT, top),
                        ",.USERDEFINED.",
                    )
            for bay in range(bays):
                left, right = bay * BAY, (bay + 1) * BAY
                self.block(
                    "Plinth", "IFCFOOTING", place, (left + 10, right - 10), (-118, -8), (-600, 300), ",.FOOTING_BEAM."
                )
                self.block(
                    "Plinth seal strip",
                    "IFCDISCRETEACCESSORY",
                    place,
                    (left, right),
                    (-48, -8),
                    (300, 310),
                    ",.USERDEFINED.",
                )
                self.block("Base rail", "IFCMEMBER", place, (left, right), (-108, -8), (310, 370), ",.PURLIN.")
                for row in range(rows):
                    off = 12.0 if (bay + row) % 50 == 7 else 0.0
                    low = FOOT + row * ROW
                    self.block(
                        "Sandwich panel",
                        "IFCPLATE",
                        place,
                        (left + 15, right - 15 - off),
                        (-128, -8),
                        (low, low + ROW),
                        ",.CURTAIN_PANEL.",
                    )
        head = (
            "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\n"
            "FILE_NAME('benchmark.ifc','2026-01-01T00:00:00',(''),(''),'','','');\n"
            "FILE_SCHEMA(('IFC4'));\nENDSEC;\nDATA;\n"
        )
        return head + "\n".join(self.lines) + "\nENDSEC;\nEND-ISO-10303-21;\n"


def seconds(code: str, *words: str) -> tuple[float, str]:
    """Wall time of a script in a process of its own, and what it prints."""
    script = Path(words[-1]) / "script.py"
    script.write_text(code)
    start = time.perf_counter()
    done = subprocess.run([sys.executable, str(script), *words], check=True, capture_output=True, text=True)
    return time.perf_counter() - start, done.stdout.strip()


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--panels", type=int, default=2000)
    parser.add_argument("--runs", type=int, default=3)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        times: dict[int, dict[str, list[float]]] = {}
        for panels in (chosen.panels // 4, chosen.panels):
            path = Path(folder) / f"hall-{panels}.ifc"
            writer = Writer()
            path.write_text(writer.hall(panels))
            print(f"{path.name}: {writer.count} elements, {path.stat().st_size / 1e6:.1f} MB")
            ways = {
                "plain": (PLAIN, ()),
                "measured": (OURS, ("json", "csv")),
                "with pictures": (OURS, ("json", "csv", "bcf")),
            }
            times[panels] = {name: [] for name in ways}
            for _ in range(chosen.runs):
                for name, (code, formats) in ways.items():
                    taken, said = seconds(code, str(path), *formats, folder)
                    times[panels][name].append(taken)
            middle = {name: statistics.median(taken) for name, taken in times[panels].items()}
            print(f"  panels, verdicts, issues: {said}")
            for name, taken in middle.items():
                print(f"  {name:14} {taken:6.2f} s, {taken / middle['plain']:5.2f} of plain")
        small, large = sorted(times)
        growth = statistics.median(times[large]["measured"]) / statistics.median(times[small]["measured"])
        print(f"growth exponent from {small} to {large} panels: {math.log(growth) / math.log(large / small):.2f}")


if __name__ == "__main__":
    main()
