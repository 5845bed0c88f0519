"""A copy of the source with a sample of mutants in it as switches, its unit tests and its wheel."""

import json
import os
import re
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path

import switches

ROOT = Path(__file__).resolve().parents[2]
WORK = ROOT / "target" / "mutants"
COPY = WORK / "copy"
SITE = WORK / "site"
FOLDERS = ("physics", "response", "judgement")
# unit tests and wheel in one profile, so that what they depend on is built once; the unit tests look for overflow as they do in tests/run.py
CHECKED = [f"--config=profile.release.package.weaklink.{what}=true" for what in ("overflow-checks", "debug-assertions")]
SETTINGS = {"CARGO_TARGET_DIR": str(WORK / "target"), "CARGO_PROFILE_RELEASE_LTO": "off", "CARGO_PROFILE_RELEASE_CODEGEN_UNITS": "16"}


def listed() -> list[dict]:
    names = [f"--file=src/{folder}/**" for folder in FOLDERS]
    done = subprocess.run(
        ["cargo", "mutants", "--list", "--json", "--features", "job,threads", *names], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if done.returncode:
        sys.exit(f"cargo-mutants does not run (cargo install cargo-mutants): {done.stderr}")
    return json.loads(done.stdout)


def build(sample: list, lost: Counter) -> tuple[list, str]:
    """Puts the sample into a copy of the source until it compiles; returns the mutants that are in it and the unit tests."""
    (COPY / "tests").mkdir(parents=True, exist_ok=True)
    for name in ("Cargo.lock", "build.rs", "pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, COPY / name)
    # the one function that Python calls has no name in Rust's sense, which counts as unsafe
    cargo = (ROOT / "Cargo.toml").read_text(encoding="utf-8").replace('unsafe_code = "forbid"', 'unsafe_code = "allow"')
    (COPY / "Cargo.toml").write_text(cargo, encoding="utf-8")
    for name in ("python", "notebooks", "tests/fuzz", "tests/stress", "tests/speed", "tests/references"):
        shutil.copytree(ROOT / name, COPY / name, dirs_exist_ok=True, ignore=shutil.ignore_patterns("target", "__pycache__"))
    for name in ("fuzz.rs", "jobs.rs"):
        shutil.copy(ROOT / "tests" / name, COPY / "tests" / name)
    while True:
        shutil.rmtree(COPY / "src", ignore_errors=True)
        shutil.copytree(ROOT / "src", COPY / "src")
        with (COPY / "src" / "lib.rs").open("a", encoding="utf-8") as lib:
            lib.write(switches.CHOOSER.replace("SWITCHES", str(1 + max(m.number for m in sample))))
        placed = []
        for name in sorted({m.file for m in sample}):
            file = switches.File(ROOT / name, [m for m in sample if m.file == name])
            lost["no form as a switch (in a constant, a chain of let)"] += len(file.without_place)
            placed += [m for m in sample if m.file == name and m not in file.without_place]
            (COPY / name).write_text(file.text(), encoding="utf-8")
        done = subprocess.run(
            ["cargo", "test", "--release", *CHECKED, "--lib", "--no-run", "--features", "job,threads", "--message-format=json"],
            cwd=COPY, capture_output=True, text=True, check=False, env=os.environ | SETTINGS,
        )  # fmt: skip
        bad = refused(done.stdout)
        if not bad:
            if done.returncode:
                sys.exit(f"the copy does not compile, and no switch is to blame:\n{done.stderr[-3000:]}")
            # the last of the executables is the unit tests'
            messages = map(json.loads, filter(lambda line: line.startswith("{"), done.stdout.splitlines()))
            return placed, [m["executable"] for m in messages if m.get("executable")][-1]
        lost["does not compile"] += len(bad)
        print(f"   {len(bad)} do not compile", flush=True)
        sample = [m for m in placed if m.number not in bad]


def refused(messages: str) -> set[int]:
    """Numbers of the switches that the compiler points at: the last one before each error."""
    bad = set()
    for line in messages.splitlines():
        message = json.loads(line).get("message") if line.startswith("{") else None
        if not isinstance(message, dict) or message.get("level") != "error":
            continue
        for span in message["spans"]:
            if not span["is_primary"]:
                continue
            lines = (COPY / span["file_name"]).read_text(encoding="utf-8").splitlines()
            before = "\n".join([*lines[: span["line_start"] - 1], lines[span["line_start"] - 1][: span["column_end"]]])
            numbers = re.findall(r"crate::mutated\((\d+)\)", before)
            if numbers:
                bad.add(int(numbers[-1]))
    return bad


def wheel() -> Path:
    """The wheel of the copy, in a folder that comes before the environment that tests/run.py made; returns that one's Python."""
    python = ROOT / "target" / "venv-test" / ("Scripts" if os.name == "nt" else "bin") / "python"
    if not python.exists():
        sys.exit("run tests/run.py first: the Python tests need its environment")
    if not SITE.exists():
        subprocess.run(
            [python, "-m", "pip", "install", "-q", "--no-deps", "--target", str(SITE), "."], cwd=COPY, check=True, env=os.environ | SETTINGS
        )
    return python
