"""Importing the library is light: what only tables, plots and the command line need stays outside."""

import subprocess
import sys

HEAVY = ("rich", "scipy", "pandas", "matplotlib", "xarray", "skrf", "statsmodels")


def modules_after(statement):
    code = f"import sys; {statement}; print(' '.join(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


def test_import_is_light():
    loaded = modules_after("import weaklink")
    assert "weaklink._core" in loaded
    assert sorted(loaded.intersection(HEAVY)) == []


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
