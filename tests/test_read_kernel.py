import signal
import subprocess
import textwrap
import time
from types import SimpleNamespace

import numpy as np
import pytest
from read_kit import Kit, everything

import checker.read.bodies as bodies_module
import checker.read.kernel as kernel_module
from checker.read import ModelFile, open_models
from checker.read.kernel import Job, Patience, tessellated
from checker.read.kernel_worker import agrees

WORKER = """
    import json, os, struct, sys, time
    out = sys.stdout.buffer
    def say(data):
        out.write(data)
        out.flush()
    jobs = json.loads(sys.stdin.readline())["jobs"]
    say(b'{"opening": true}\\n{"opening": false}\\n')
    for path, entity, representation in jobs:
        if entity == 2:
            time.sleep(60)
        if entity == 3:
            os.abort()
        if entity == 4:
            say(b'{"points": 3, "triangles": 1}\\n' + b"half a point")
            os._exit(1)
        if entity == 5:
            say(b'{"fault": "IfcOddity"}\\n')
            continue
        say(b'{"points": 1, "triangles": 1}\\n' + struct.pack("<3d3i", entity, 0, 0, 0, 0, 0))
"""


@pytest.fixture
def odd_worker(tmp_path, monkeypatch):
    path = tmp_path / "worker.py"
    path.write_text(textwrap.dedent(WORKER))
    monkeypatch.setattr(kernel_module, "_WORKER", path)


def outcomes(entities):
    found = tessellated([Job("m.ifc", entity) for entity in entities], Patience(0.6))
    return [body if isinstance(body, str) else int(body[0][0, 0]) for body in found]


def test_crashes_and_hangs_cost_one_body_each(odd_worker):
    assert outcomes([10, 2, 11, 3, 12, 4, 13, 5, 14]) == [
        10,
        "the geometry kernel did not finish it within 0.6 s",
        11,
        "the geometry kernel crashed on it",
        12,
        "the geometry kernel crashed on it",
        13,
        "the geometry kernel cannot build its shape (IfcOddity)",
        14,
    ]


def test_answers_keep_their_order_over_several_processes(odd_worker, monkeypatch):
    monkeypatch.setattr(kernel_module, "BODIES_PER_PROCESS", 3)
    assert outcomes(range(10, 40)) == list(range(10, 40))
    assert outcomes([10, 3, 11, 12, 3, 13, 14, 3]) == [
        10, "the geometry kernel crashed on it", 11, 12, "the geometry kernel crashed on it", 13, 14,
        "the geometry kernel crashed on it",
    ]  # fmt: skip


def test_a_file_made_to_crash_does_not_take_for_ever(odd_worker, monkeypatch):
    monkeypatch.setattr(kernel_module, "MOST_FAILURES", 2)
    assert outcomes([3, 10, 3, 11, 12]) == [
        "the geometry kernel crashed on it",
        10,
        "the geometry kernel crashed on it",
        "the geometry kernel failed 2 times before",
        "the geometry kernel failed 2 times before",
    ]


def test_no_process_is_started_for_nothing(monkeypatch):
    monkeypatch.setattr(kernel_module.subprocess, "Popen", None)
    assert tessellated([]) == []


def test_a_process_that_cannot_start_is_a_fault(monkeypatch, tmp_path):
    monkeypatch.setattr(kernel_module, "_WORKER", tmp_path / "absent.py")
    assert outcomes([1]) == ["the geometry kernel crashed on it"]
    # Far more than fits into a pipe nobody reads.
    assert set(outcomes(range(20_000))) > {"the geometry kernel crashed on it"}


def test_files_of_the_current_folder_are_never_imported(tmp_path, monkeypatch):
    for name in ("json", "numpy", "ifcopenshell", "typing"):
        (tmp_path / f"{name}.py").write_text("raise SystemExit('imported from the current folder')")
    monkeypatch.chdir(tmp_path)
    kit = Kit()
    kit.product("IfcWall", kit.brep([(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)], TETRAHEDRON))
    reading = kit.read(tmp_path)
    assert reading.bodies(everything(reading))[1] == ("",)


TETRAHEDRON = [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)]


def test_shapes_used_many_times_are_built_once(tmp_path, monkeypatch):
    asked = []

    def count(jobs, patience):
        asked.extend(jobs)
        return tessellated(jobs, patience)

    monkeypatch.setattr(bodies_module, "tessellated", count)
    kit = Kit()
    shape = kit.brep([(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)], TETRAHEDRON)
    source = kit.mapped(shape).MappingSource
    for i in range(5):
        target = kit.make("IfcCartesianTransformationOperator3D", None, None, kit.point(i, 0, 0), None, None)
        kit.product("IfcWall", kit.make("IfcMappedItem", source, target))
    reading = kit.read(tmp_path)
    meshes, faults = reading.bodies(everything(reading))
    assert len(asked) == 1
    assert set(faults) == {""}
    assert np.diff(meshes.triangle_start).tolist() == [4] * 5


@pytest.fixture
def started(monkeypatch):
    """Processes that the kernel module starts, the first of which finds none to go on with."""
    monkeypatch.setattr(kernel_module, "_idle", [])
    processes = []

    def start(*args, **options):
        processes.append(subprocess.Popen(*args, **options))
        return processes[-1]

    monkeypatch.setattr(kernel_module, "subprocess", SimpleNamespace(**{**vars(subprocess), "Popen": start}))
    yield processes
    kernel_module._end_all()
    assert all(process.poll() is not None for process in processes)


def test_one_process_serves_until_the_end_and_a_lost_one_is_replaced(tmp_path, started):
    kit = Kit()
    shape = kit.brep([(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)], TETRAHEDRON)
    path = str(kit.save(tmp_path / "a.ifc"))
    jobs = [Job(path, shape.id()), Job(path, shape.id())]
    first, again = tessellated(jobs), tessellated(jobs)
    assert len(started) == 1
    assert all(
        np.array_equal(a, b) for one, two in zip(first, again, strict=True) for a, b in zip(one, two, strict=True)
    )
    started[0].kill()
    started[0].wait()
    assert len(tessellated(jobs)[0][1]) == 4
    started[1].kill()  # nobody has waited for this one yet
    assert len(tessellated(jobs)[1][1]) == 4
    assert len(started) == 3
    # What the file holds is read anew each time.
    other = Kit()
    other.brep([(0, 0, 0), (2, 0, 0), (0, 2, 0), (0, 0, 2)], TETRAHEDRON)
    other.save(tmp_path / "a.ifc")
    assert np.ptp(tessellated(jobs)[0][0]) == pytest.approx(2.0)
    assert len(started) == 3


def test_a_kept_process_finds_files_where_the_user_stands_now(tmp_path, monkeypatch, started):
    for name, size in (("here", 1.0), ("there", 2.0)):
        kit = Kit()
        shape = kit.brep([(0, 0, 0), (size, 0, 0), (0, size, 0), (0, 0, size)], TETRAHEDRON)
        (tmp_path / name).mkdir()
        kit.save(tmp_path / name / "a.ifc")
        monkeypatch.chdir(tmp_path / name)
        assert np.ptp(tessellated([Job("a.ifc", shape.id())])[0][0]) == pytest.approx(size)
    assert len(started) == 1


def test_a_process_that_hung_or_crashed_is_not_asked_again(odd_worker, started):
    outcomes([2, 10])
    assert [process.poll() is None for process in started] == [False, False]
    assert kernel_module._idle == []


def test_several_files_feed_one_run(tmp_path):
    files = []
    for name in ("a", "b", "c"):
        kit = Kit(salt=name, unit="mm" if name == "a" else "foot")
        kit.product("IfcWall", kit.brep([(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)], TETRAHEDRON), title=name)
        files.append(ModelFile(kit.save(tmp_path / f"{name}.ifc")))
    reading = open_models(files)
    meshes, faults = reading.bodies(everything(reading))
    assert set(faults) == {""}
    assert np.ptp(meshes.points.reshape(3, 4, 3), axis=1) == pytest.approx(np.ones((3, 3)))


def test_agreeing_faces():
    tetrahedron = np.array(TETRAHEDRON, dtype=np.int32)
    assert agrees(tetrahedron, 4)
    assert not agrees(tetrahedron[:3], 4)
    turned = tetrahedron.copy()
    turned[0] = turned[0][::-1]
    assert not agrees(turned, 4)


def test_a_hanging_process_is_not_waited_for(odd_worker):
    before = time.monotonic()
    outcomes([2, 10])
    # Left alone it would sleep for a minute.
    assert time.monotonic() - before < 20


@pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="needs a timer that interrupts")
def test_an_interruption_ends_the_work(odd_worker):
    def interrupt(number, frame):
        raise KeyboardInterrupt

    before = time.monotonic()
    earlier = signal.signal(signal.SIGALRM, interrupt)
    signal.setitimer(signal.ITIMER_REAL, 0.5)
    try:
        with pytest.raises(KeyboardInterrupt):
            tessellated([Job("m.ifc", 2), Job("m.ifc", 2)], Patience(60))
    finally:
        signal.signal(signal.SIGALRM, earlier)
    assert time.monotonic() - before < 20


def test_bodies_that_never_end_share_the_patience_of_a_run(odd_worker, monkeypatch):
    monkeypatch.setattr(kernel_module, "SECONDS_AT_LEAST", 0.2)
    patience = Patience(0.8)
    jobs = [Job("m.ifc", entity) for entity in (2, 10, 2, 2)]
    says = "the geometry kernel did not finish it within {} s"
    found = [body if isinstance(body, str) else "a body" for body in tessellated(jobs, patience)]
    assert found == [says.format(0.8), "a body", says.format(0.4), says.format(0.2)]
    assert tessellated(jobs[:1], patience) == [says.format(0.2)]  # bodies that are asked for later as well


def test_no_run_waits_for_a_minute():
    patience, waited = Patience(), 0.0
    while not patience.over:
        waited += patience.seconds
        patience.failed(hung=True)
    assert waited < 50.0
