"""Mutation testing: a seeded sample of what cargo-mutants would change, all in one build, each run against the tests.

    python3 tests/mutants/run.py [--sample 310] [--seed 1] [--again]

Needs `cargo install cargo-mutants` and works in `target/mutants/`. Every mutant meets the Rust unit tests of its own module first, then all
of them, then (`--python`) the Python tests with a wheel of the same source. A test that takes far longer than it should counts as
caught: the mutant hangs. The table is printed at the end and kept in `target/mutants/table.json`; `--again` goes on from there.
"""

import argparse
import json
import os
import queue
import random
import re
import shutil
import subprocess
import sys
import threading
import time
import venv
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
WORK = ROOT / "target" / "mutants"
COPY = WORK / "copy"
TOOLS = WORK / "venv"
FOLDERS = ("physics", "response", "judgement")
TABLE = WORK / "table.json"
SITE = WORK / "site"
HANGS_S = 240
# unit tests that take seconds: after all the others
SLOW = ["every_layout_reads", "gauge_block_by_trials", "how_often_stopping", "additive_models", "comparison_loss", "mass_calibration",
        "attack::tests::two", "attack::tests::one_contact", "tables_against_the_solver", "intervals_of_95"]  # fmt: skip

# Python tests that look at a folder, the most telling first; what survives them meets the rest
LOOKS_AT = {
    "physics": ["test_physics_arrays.py", "test_physics_references.py", "test_physics_validation.py"],
    "response": ["test_elements.py", "test_residue.py", "test_two_tone.py", "test_levels.py", "test_steady.py", "test_ceiling.py"],
    "judgement": ["test_jobs.py", "test_judgement.py"],
}  # fmt: skip
# about pictures, files, stopping: slow, and no place where a law shows
NOT_FOR_MUTANTS = {"test_notebooks.py", "test_page_browser.py", "test_plots.py", "test_panel.py", "test_pictures.py", "test_interrupt.py", "test_files.py",
                   "test_every_key.py", "test_import.py", "test_shop_fits.py"}  # fmt: skip


def tools() -> None:
    """tree-sitter, in an environment of its own."""
    if "--inside" in sys.argv:
        return
    python = TOOLS / ("Scripts" if os.name == "nt" else "bin") / "python"
    if not python.exists():
        venv.create(TOOLS, with_pip=True)
        subprocess.run([python, "-m", "pip", "install", "-q", "tree_sitter", "tree_sitter_rust"], check=True)
    sys.exit(subprocess.run([python, __file__, *sys.argv[1:], "--inside"], check=False).returncode)


def listed() -> list[dict]:
    names = [f"--file=src/{folder}/**" for folder in FOLDERS]
    done = subprocess.run(
        ["cargo", "mutants", "--list", "--json", "--features", "job,threads", *names], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if done.returncode:
        sys.exit(f"cargo-mutants does not run (cargo install cargo-mutants): {done.stderr}")
    return json.loads(done.stdout)


def build(sample: list, lost: Counter) -> list:
    """Puts the sample into a copy of the source until it compiles; returns the mutants that are in it."""
    import switches

    (COPY / "tests").mkdir(parents=True, exist_ok=True)
    for name in ("Cargo.toml", "Cargo.lock", "pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, COPY / name)
    for name in ("python", "notebooks", "tests/fuzz", "tests/stress", "tests/references"):
        shutil.copytree(ROOT / name, COPY / name, dirs_exist_ok=True, ignore=shutil.ignore_patterns("target", "__pycache__"))
    for name in ("fuzz.rs", "jobs.rs"):
        shutil.copy(ROOT / "tests" / name, COPY / "tests" / name)
    while True:
        shutil.copytree(ROOT / "src", COPY / "src", dirs_exist_ok=True)
        with (COPY / "src" / "lib.rs").open("a", encoding="utf-8") as lib:
            lib.write(switches.CHOOSER)
        placed = []
        for name in sorted({m.file for m in sample}):
            file = switches.File(ROOT / name, [m for m in sample if m.file == name])
            lost["no form as a switch (in a constant, a chain of let)"] += len(file.without_place)
            placed += [m for m in sample if m.file == name and m not in file.without_place]
            (COPY / name).write_text(file.text(), encoding="utf-8")
        done = subprocess.run(
            ["cargo", "check", "--features", "job,threads", "--message-format=json"], cwd=COPY, capture_output=True, text=True, check=False,
            env=os.environ | {"CARGO_TARGET_DIR": str(WORK / "target")},
        )  # fmt: skip
        bad = refused(done.stdout)
        if not bad:
            if done.returncode:
                sys.exit(f"the copy does not compile, and no switch is to blame:\n{done.stderr[-3000:]}")
            return placed
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


def holds(command: list[str], number: int, cwd: Path, limit_s: float = HANGS_S) -> bool:
    """Whether the tests pass with this mutant."""
    env = os.environ | {"MUTANT": str(number), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "RUSTC_BOOTSTRAP": "1", "PYTHONPATH": str(SITE)}
    try:
        done = subprocess.run(command, cwd=cwd, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, timeout=limit_s, check=False)
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0


def unit_tests() -> str:
    done = subprocess.run(
        ["cargo", "test", "--lib", "--features", "job,threads", "--no-run", "--message-format=json"], cwd=COPY, capture_output=True,
        text=True, check=True, env=os.environ | {"CARGO_TARGET_DIR": str(WORK / "target")},
    )  # fmt: skip
    return next(m["executable"] for m in map(json.loads, done.stdout.splitlines()) if m.get("executable"))


def wheel() -> Path:
    """The wheel of the copy, in a folder that comes before the environment that tests/run.py made; returns that one's Python."""
    python = ROOT / "target" / "venv-test" / ("Scripts" if os.name == "nt" else "bin") / "python"
    if not python.exists():
        sys.exit("run tests/run.py first: the Python tests need its environment")
    if not SITE.exists():
        subprocess.run(
            [python, "-m", "pip", "install", "-q", "--no-deps", "--target", str(SITE), "."], cwd=COPY, check=True,
            env=os.environ | {"CARGO_TARGET_DIR": str(WORK / "target")},
        )  # fmt: skip
    return python


def module(file: str) -> str:
    """`src/response/steady/solve.rs` is `response::steady::solve::`."""
    return "::".join(Path(file).with_suffix("").parts[1:]).removesuffix("::mod") + "::"


def main() -> None:
    words = argparse.ArgumentParser()
    words.add_argument("--sample", type=int, default=310)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--again", action="store_true", help="go on with the table that is there")
    words.add_argument("--python", action="store_true", help="survivors of the Rust tests meet the Python tests")
    words.add_argument("--jobs", type=int, default=1, help="mutants at a time")
    words.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    asked = words.parse_args()
    import switches

    WORK.mkdir(parents=True, exist_ok=True)
    if asked.again and TABLE.exists():
        table = json.loads(TABLE.read_text(encoding="utf-8"))
        mutants = [switches.mutant(number, m) for number, m in table["sample"]]
    else:
        every = listed()
        # a fifth more than asked for: some do not compile
        drawn = random.Random(asked.seed).sample(range(len(every)), min(len(every), asked.sample * 5 // 4))
        lost: Counter = Counter()
        print(f"== {len(every)} mutants, {len(drawn)} drawn with seed {asked.seed}", flush=True)
        shutil.rmtree(SITE, ignore_errors=True)
        mutants = build([switches.mutant(n, every[n]) for n in sorted(drawn)], lost)
        keep = {m.number for m in mutants}
        table = {"of": len(every), "seed": asked.seed, "lost": dict(lost), "caught": {}, "sample": [(n, every[n]) for n in drawn if n in keep]}
        TABLE.write_text(json.dumps(table), encoding="utf-8")
    tests = unit_tests()
    if not table.get("sound") and not holds([tests], 2**31, ROOT, 3600):
        sys.exit("the unit tests fail without a mutant")
    table["sound"] = True
    rust(tests, mutants, table, asked.jobs)
    before = "passed the quick"
    if asked.python:
        before = pytest(wheel(), mutants, table, before, asked.jobs)
    rust_slow(tests, mutants, table, before, asked.jobs)
    report(mutants, table)


def spread(mutants: list, table: dict, before: str, jobs: int, judged: Callable[[Any], str]) -> None:
    """Judges every mutant that stands at ``before``, some at a time; the table is written after each."""
    lock = threading.Lock()

    def one(m: Any) -> None:
        began = time.monotonic()
        word = judged(m)
        with lock:
            table["caught"][str(m.number)] = word
            TABLE.write_text(json.dumps(table), encoding="utf-8")
            print(f"   {m.name}: {word}, {time.monotonic() - began:.0f} s", flush=True)

    with ThreadPoolExecutor(jobs) as pool:
        list(pool.map(one, [m for m in mutants if table["caught"].get(str(m.number), "") == before]))


def rust(tests: str, mutants: list, table: dict, jobs: int) -> None:
    """The unit tests: nearest first, no further after the first failure."""
    quick = [f"--skip={name}" for name in SLOW]
    command = [tests, "-q", "-Z", "unstable-options", "--fail-fast"]

    def judged(m: Any) -> str:
        return "passed the quick" if all(holds([*command, *w], m.number, ROOT) for w in ([module(m.file), *quick], quick)) else "Rust"

    spread(mutants, table, "", jobs, judged)


def rust_slow(tests: str, mutants: list, table: dict, before: str, jobs: int) -> None:
    """The unit tests that take seconds, for what all else has let pass."""
    command = [tests, "-q", "-Z", "unstable-options", "--fail-fast", *SLOW]
    spread(mutants, table, before, jobs, lambda m: "survived" if holds(command, m.number, ROOT) else "Rust")


def pytest(python: Path, mutants: list, table: dict, before: str, jobs: int) -> str:
    """The Python tests: the most telling files first, then all others that are not slow for their own reasons."""
    env = os.environ | {"PYTHONPATH": str(SITE), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    servers: queue.Queue = queue.Queue()
    for _ in range(jobs):
        started = [str(python), str(ROOT / "tests/mutants/forked.py")]
        servers.put(subprocess.Popen(started, cwd=ROOT, env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True))

    def passes(number: int, names: list[str]) -> bool:
        server = servers.get()
        server.stdin.write(f"{number} {HANGS_S * 4} {' '.join(f'tests/python/{n}' for n in names)}\n")
        server.stdin.flush()
        word = server.stdout.readline().strip()
        servers.put(server)
        return word == "0"

    everything = sorted(p.name for p in (ROOT / "tests" / "python").glob("test_*.py"))
    first = lambda m: LOOKS_AT[m.file.split("/")[1]]  # noqa: E731
    rest = lambda m: [n for n in everything if n not in first(m) and n not in NOT_FOR_MUTANTS]  # noqa: E731
    for folder in FOLDERS:
        own = [m for m in mutants if m.file.startswith(f"src/{folder}/")]
        if folder not in table.setdefault("sound in Python", []):
            if not passes(2**31, LOOKS_AT[folder]):
                sys.exit(f"the Python tests of {folder} fail without a mutant")
            table["sound in Python"].append(folder)
            print(f"   {folder}: the tests pass without a mutant", flush=True)
        spread(own, table, before, jobs, lambda m: "passed the nearest" if passes(m.number, first(m)) else "Python")
    spread(mutants, table, "passed the nearest", jobs, lambda m: "passed Python" if passes(m.number, rest(m)) else "Python")
    for _ in range(jobs):
        servers.get().stdin.close()
    return "passed Python"


def report(mutants: list, table: dict) -> None:
    by = Counter(table["caught"].get(str(m.number), "not run") for m in mutants)
    left = [m for m in mutants if table["caught"].get(str(m.number)) not in ("Rust", "Python")]
    print(f"\n{len(mutants)} mutants of {table['of']}, seed {table['seed']}; left out: {table['lost']}")
    for folder in FOLDERS:
        own = Counter(table["caught"].get(str(m.number), "not run") for m in mutants if m.file.startswith(f"src/{folder}/"))
        print(f"   {folder:10} {dict(own)}")
    print(f"   together   {dict(by)}; survivors {len(left)}, {100 * len(left) / max(1, len(mutants)):.1f} %")
    for m in left:
        print(f"   {m.name}")


if __name__ == "__main__":
    tools()
    main()
