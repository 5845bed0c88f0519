"""Importing the library is light: what only tables, plots and the command line need stays outside; the package is the command."""

import signal
import subprocess
import sys
import time

import pytest

HEAVY = ("rich", "scipy", "pandas", "matplotlib", "xarray", "skrf", "statsmodels")


def modules_after(statement):
    code = f"import sys; {statement}; print(' '.join(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


def test_import_is_light():
    loaded = modules_after("import weaklink")
    assert "weaklink._core" in loaded
    assert sorted(loaded.intersection(HEAVY)) == []
    # numpy itself loads when the first array comes
    assert "numpy" not in loaded


def test_a_first_answer_is_light():
    loaded = modules_after(
        "import weaklink as wl; wl.Section('s', source=wl.Source(emf_v=1.0), path=[wl.Contact('c', resistance_ohm=1.0)], load=wl.Load(resistance_ohm=8.0)).loss_db([20.0, 1e3])"
    )
    assert "numpy" in loaded
    assert sorted(loaded.intersection(HEAVY)) == []


def test_the_check_would_see_one():
    assert "scipy" in modules_after("import weaklink, scipy")


def test_all_is_there():
    import weaklink

    assert len(weaklink.__all__) == len(set(weaklink.__all__))
    assert all(hasattr(weaklink, name) for name in weaklink.__all__)


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["limits"]])
def test_the_package_is_the_command(arguments):
    ways = [
        subprocess.run([sys.executable, "-m", module, *arguments], capture_output=True, text=True) for module in ("weaklink", "weaklink.cli")
    ]
    package, command = [(done.returncode, done.stdout, done.stderr) for done in ways]
    assert package == command
    # a fault is the command's own, told under its own name
    assert package[0] == (2 if arguments == ["limits"] else 0)
    assert "weaklink" in package[1] + package[2] and "__main__" not in package[1] + package[2]


@pytest.mark.parametrize(
    "work",
    [
        "section.ceiling(np.linspace(100.0, 5000.0, 3_000_000), ranges={'c': (0.0, 1.0)})",
        "section.response_change_db(contacts={'c': np.linspace(0.0, 1.0, 3_000_000)})",
        "wl.physics.spots_ohm(np.arange(4e5), np.zeros(400_000), np.full(400_000, 0.1), 1.0)",
        "wl.hearing.smallest_noticeable_residue(np.full(3_000_000, 1e3), 80.0, where='anywhere')",
        "wl.fit_film(np.linspace(-1.0, 1.0, 1_000_000) ** 3, np.linspace(-1.0, 1.0, 1_000_000))",
    ],
)
def test_an_interrupt_stops_long_work(work):
    # a test run in the background inherits an ignored interrupt: ask for the usual handler
    code = f"""
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)
import numpy as np, weaklink as wl
section = wl.Section("s", source=wl.Source(emf_v=1.0, inductance_h=0.1), path=[wl.Contact("c", resistance_ohm=1.0)], load=wl.Load(resistance_ohm=8.0))
print("ready", flush=True)
try:
    {work}
except KeyboardInterrupt:
    print("stopped", flush=True)
"""
    process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline() == "ready\n"
    time.sleep(0.3)
    process.send_signal(signal.SIGINT)
    try:
        # without the watch the work takes minutes
        assert process.communicate(timeout=20)[0] == "stopped\n"
    finally:
        process.kill()
