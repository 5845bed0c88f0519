"""Installs what the tests need and runs them all: python3 tests/run.py

Everything goes into target/, which git ignores. Stops at the first step that fails; a step that ran no test fails too.
"""

import os
import re
import shutil
import subprocess
import sys
import time
import tomllib
import venv
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / "target" / "venv-test"
PYTHON = VENV / ("Scripts" if os.name == "nt" else "bin") / "python"
# the sets of features that users can ask for are all built; the largest that runs is run (python links as an extension and does not): the smaller
# ones are parts of it, and their own run took two minutes of fifteen
TESTED = "job,threads"
BUILT = ["", "threads", "job", "python"]
ENOUGH = {"cargo test": 400, "docs": 3, "pytest": 2500}


def run(title: str, *command: str, **more: str) -> str:
    print(f"== {title}\n", end="", flush=True)
    began = time.monotonic()
    done = subprocess.run(
        command, cwd=ROOT, env=os.environ | more, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False
    )
    if done.returncode:
        print(done.stdout, flush=True)
        sys.exit(f"failed: {title}: {' '.join(command)}")
    print(f"   {title}: ok, {time.monotonic() - began:.0f} s\n", end="", flush=True)
    return done.stdout


def needed() -> list[str]:
    """What the package and its tests need, without the package."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return [*project["dependencies"], *project["optional-dependencies"]["test"]]


def counted(title: str, output: str, pattern: str, least: int) -> None:
    total = sum(int(n) for n in re.findall(pattern, output))
    print(f"   {total} tests passed")
    if total < least:
        print(output)
        sys.exit(f"failed: {title} ran {total} tests, at least {least} are there")


def main() -> None:
    if shutil.which("cargo") is None:
        sys.exit("cargo is not on the path: install the Rust toolchain first")
    if not PYTHON.exists():
        print("== virtual environment", flush=True)
        venv.create(VENV, with_pip=True)
    # much of a compilation has work for one core only: the wheel is built, in its own profile, while clippy and the Rust tests run
    with ThreadPoolExecutor(1) as beside:
        built = beside.submit(lambda: (wheel(), types()))
        rust()
        built.result()
    python()
    print("all tests passed")


def wheel() -> None:
    """What the tests need, and the wheel in the environment's own site-packages: what is tested is what users install.

    Of what the tests need only what is imported gets compiled, when it is.
    """
    run("what the tests need", str(PYTHON), "-m", "pip", "install", "--quiet", "--no-compile", *needed())
    run("build and install the wheel", str(PYTHON), "-m", "pip", "install", "--quiet", "--force-reinstall", "--no-deps", ".")


def types() -> None:
    run("stubs against the wheel", str(PYTHON), "-m", "mypy.stubtest", "weaklink", "--ignore-disjoint-bases")
    run("types of the package", str(PYTHON), "-m", "mypy", "--strict", "python/weaklink")


def rust() -> None:
    run("format", "cargo", "fmt", "--check")
    for features in BUILT:
        name = features or "default"
        run(f"clippy, {name}", "cargo", "clippy", "--locked", "--all-targets", "--features", features, "--", "-D", "warnings")
    run("docs", "cargo", "doc", "--locked", "--no-deps", "--features", TESTED, RUSTDOCFLAGS="-D warnings")
    # one program; what the examples in the docs link needs no optimisation
    passed = r"test result: ok\. (\d+) passed"
    output = run(f"Rust tests, {TESTED}", "cargo", "test", "--locked", "--lib", "--features", TESTED)
    counted(f"Rust tests, {TESTED}", output, passed, ENOUGH["cargo test"])
    output = run("examples in the docs", "cargo", "test", "--locked", "--profile", "dev", "--doc", "--features", TESTED)
    counted("examples in the docs", output, passed, ENOUGH["docs"])


def python() -> None:
    if not any(shutil.which(name) for name in ("chromium", "chromium-browser")):
        print("== no chromium here: the customer's page is not looked at in a browser (apt-get install chromium)", flush=True)
    # a worker for each processor; small matrices of the oracle: threads of the linear algebra only get in each other's way
    workers = str(min(os.cpu_count() or 1, 8))
    alone = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    output = run("pytest", str(PYTHON), "-m", "pytest", "-n", workers, "--dist", "worksteal", **alone)
    counted("pytest", output, r"(\d+) passed", ENOUGH["pytest"])


if __name__ == "__main__":
    main()
