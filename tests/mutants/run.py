"""Mutation testing: a seeded sample of what cargo-mutants would change, all in one build, each run against the tests that meet it.

    python3 tests/mutants/run.py [--sample 310] [--seed 1] [--jobs 1] [--budget 120] [--again]

Needs `cargo install cargo-mutants` and the environment that tests/run.py makes; works in `target/mutants/`. First every test runs once
without a mutant and notes which switches it meets (`switches.py`, `forked.py`). Then each mutant runs against the tests that meet
it, the quick and the telling first, until one fails or hangs. `--budget`: no more than so many seconds of tests for one mutant; one
that has passed only some of its tests counts as a survivor and the report says so. `--again` goes on from the table in
`target/mutants/table.json`: tests that came since are recorded, survivors meet what they have not met yet.
What `equivalent.toml` explains is counted apart. Tests that are about pictures, files and stopping are not run: fewer catches, no more.
"""

import argparse
import json
import os
import random
import re
import shutil
import subprocess
import sys
import threading
import time
import tomllib
import venv
from collections import Counter, defaultdict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import SimpleQueue
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
WORK = ROOT / "target" / "mutants"
TOOLS = WORK / "venv"
TABLE = WORK / "table.json"
EQUIVALENT = Path(__file__).with_name("equivalent.toml")
# about pictures, files, stopping: slow, and no place where a law shows
NOT_FOR_MUTANTS = {"test_notebooks.py", "test_page_browser.py", "test_plots.py", "test_panel.py", "test_pictures.py", "test_interrupt.py", "test_files.py",
                   "test_every_key.py", "test_import.py", "test_shop_fits.py"}  # fmt: skip
# what counts as quick, in seconds as recorded
QUICK_S = {"rust": 0.3, "python": 2.0}
# seconds of tests that every mutant gets before any gets more
FIRST_S = 8.0
# this many times as long as recorded, and so many seconds more, is a mutant that hangs
HANGS, HANGS_S = 8.0, 60.0


def tools() -> None:
    """tree-sitter, in an environment of its own."""
    if "--inside" in sys.argv:
        return
    python = TOOLS / ("Scripts" if os.name == "nt" else "bin") / "python"
    if not python.exists():
        venv.create(TOOLS, with_pip=True)
    subprocess.run([python, "-m", "pip", "install", "-q", "tree_sitter", "tree_sitter_rust"], check=True)
    sys.exit(subprocess.run([python, __file__, *sys.argv[1:], "--inside"], check=False).returncode)


class Table:
    """What is known so far, written after each step."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.words: dict[str, Any] = {"recorded": {"rust": {}, "python": {}}, "judged": {}}

    def read(self) -> None:
        self.words = json.loads(TABLE.read_text(encoding="utf-8"))

    def write(self) -> None:
        new = TABLE.with_suffix(".new")
        new.write_text(json.dumps(self.words), encoding="utf-8")
        new.replace(TABLE)

    def tests_of(self, kind: str, number: int) -> dict[str, float]:
        """The tests that meet a mutant, with their seconds."""
        return {name: t["s"] for name, t in self.words["recorded"][kind].items() if t["passed"] and number in t["met"]}


class Rust:
    """The unit tests. Recorded each in a process of its own: nothing that one keeps hides a switch from another."""

    def __init__(self, tests: str) -> None:
        self.tests = tests

    def names(self) -> list[str]:
        done = subprocess.run([self.tests, "--list", "--format=terse"], cwd=ROOT, capture_output=True, text=True, check=True)
        return [line.removesuffix(": test") for line in done.stdout.splitlines() if line.endswith(": test")]

    def run(self, names: list[str], limit_s: float, **env: str) -> tuple[int | None, str]:
        command = [self.tests, "--exact", "-Z", "unstable-options", "--fail-fast", *names]
        try:
            done = subprocess.run(
                command, cwd=ROOT, env=os.environ | {"RUSTC_BOOTSTRAP": "1"} | env, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                text=True, timeout=limit_s, check=False,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            return None, ""
        return done.returncode, done.stdout

    def record(self, name: str) -> dict:
        met = WORK / "met" / str(threading.get_ident())
        met.parent.mkdir(exist_ok=True)
        met.unlink(missing_ok=True)
        began = time.monotonic()
        code, _ = self.run([name], 1200.0, MUTANTS_MET=str(met))
        numbers = {int(line) for line in met.read_text().split()} if met.exists() else set()
        return {"s": time.monotonic() - began, "met": sorted(numbers), "passed": code == 0}

    def failing(self, number: int, tests: dict[str, float]) -> str | None:
        code, text = self.run(sorted(tests), HANGS_S + HANGS * sum(tests.values()), MUTANT=str(number))
        if code == 0:
            return None
        failed = re.search(r"^test (\S+) .*FAILED$", text, re.MULTILINE)
        return failed[1] if failed else "some (hangs)" if code is None else "some (the process ends)"


class Python:
    """The Python tests, through one process that has collected them."""

    def __init__(self, python: Path, site: Path) -> None:
        files = sorted(p.name for p in (ROOT / "tests" / "python").glob("test_*.py") if p.name not in NOT_FOR_MUTANTS)
        shutil.rmtree(WORK / "orders", ignore_errors=True)
        self.process = subprocess.Popen(
            [python, str(ROOT / "tests/mutants/forked.py"), *(f"tests/python/{name}" for name in files)], cwd=ROOT, text=True,
            env=os.environ | {"PYTHONPATH": str(site), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip
        assert self.process.stdin and self.process.stdout
        self.orders, self.answers = self.process.stdin, self.process.stdout
        first = next((line for line in self.answers if line.startswith("{")), None)
        if first is None:
            sys.exit("the Python tests could not be collected")
        said = json.loads(first)
        self.names: list[str] = said["collected"]
        # a child of a process with threads would wait for ever for the ones that it lacks
        if said["threads"]:
            sys.exit(f"collecting the Python tests has begun threads: {said['threads']}")
        self.at_collection: dict[str, list[int]] = said["at_collection"]
        self.lock = threading.Lock()
        self.asked = 0
        self.waiting: dict[int, SimpleQueue] = {}
        threading.Thread(target=self.hear, daemon=True).start()

    def hear(self) -> None:
        for line in self.answers:
            words = json.loads(line)
            self.waiting.pop(words["id"]).put(words)
        for waits in self.waiting.values():
            waits.put({"failed": None, "lost": True})

    def ask(self, mutant: int | None, tests: list[str], limit_s: float) -> dict:
        waits: SimpleQueue = SimpleQueue()
        with self.lock:
            self.asked += 1
            self.waiting[self.asked] = waits
            self.orders.write(json.dumps({"id": self.asked, "mutant": mutant, "tests": tests, "limit_s": limit_s}) + "\n")
            self.orders.flush()
        words = waits.get()
        if words.get("lost"):
            sys.exit("the process of the Python tests has ended")
        return words

    def record(self, names: list[str]) -> dict:
        """The tests of one file, in one process; where that ends or hangs, each test in one of its own."""
        words = self.ask(None, names, 3600.0)
        if "tests" in words:
            return words["tests"]
        if len(names) > 1:
            return {name: test for one in names for name, test in self.record([one]).items()}
        print(f"   {words['failed']}: not recorded", flush=True)
        return {}

    def failing(self, number: int, tests: dict[str, float]) -> str | None:
        return self.ask(number, list(tests), HANGS_S + HANGS * sum(tests.values()))["failed"]


def function(name: str) -> str:
    return name.split("[", 1)[0]


def file_of(name: str) -> str:
    return name.split("::", 1)[0]


def record(table: Table, rust: Rust, python: Python, jobs: int) -> None:
    kept = table.words["recorded"]

    def note(kind: str, tests: dict[str, dict]) -> None:
        with table.lock:
            kept[kind].update(tests)
            table.write()
            if kind == "python" and tests:
                print(f"   {file_of(next(iter(tests)))}: {len(tests)} tests, {sum(t['s'] for t in tests.values()):.0f} s", flush=True)
            for name, test in tests.items():
                if not test["passed"]:
                    print(f"   {name} fails without a mutant: not used", flush=True)

    new = [name for name in rust.names() if name not in kept["rust"]]
    files = defaultdict(list)
    for name in python.names:
        files[file_of(name)].append(name)
    missing = [names for names in files.values() if any(name not in kept["python"] for name in names)]
    if new or missing:
        print(f"== recording {len(new)} unit tests, {len(missing)} files of Python tests", flush=True)
    for kind, now in (("rust", rust.names()), ("python", python.names)):
        for name in set(kept[kind]) - set(now):
            del kept[kind][name]
    with ThreadPoolExecutor(jobs) as pool:
        one: list[Callable[[], None]] = [lambda names=names: note("python", python.record(names)) for names in missing]
        one += [lambda name=name: note("rust", {name: rust.record(name)}) for name in new]
        list(pool.map(lambda call: call(), one))


def ordered(tests: dict[str, float], file: str, kills: Counter) -> dict[str, float]:
    """The quick and the telling first, and not all cases of one test before the first of another."""
    cost, cases = {}, Counter()
    for name in sorted(tests, key=lambda n: tests[n]):
        cases[function(name)] += 1
        caught = 4 * kills[(function(name), file)] + kills[function(name)]
        cost[name] = (0.005 + tests[name]) * cases[function(name)] ** 0.5 / (1.0 + caught)
    return {name: tests[name] for name in sorted(tests, key=lambda n: cost[n])}


def judge(table: Table, rust: Rust, python: Python, mutants: list, jobs: int, budget_s: float) -> None:
    kills: Counter = Counter()

    def one(m: Any) -> None:
        began = time.monotonic()
        with table.lock:
            stands = table.words["judged"].setdefault(str(m.number), {"by": None, "passed": []})
            passed = set(stands["passed"])
            unit = {n: s for n, s in table.tests_of("rust", m.number).items() if n not in passed}
            outer = {n: s for n, s in table.tests_of("python", m.number).items() if n not in passed}
            outer = ordered(outer, m.file, kills)
        quick = lambda kind, tests, yes: {n: s for n, s in tests.items() if (s <= QUICK_S[kind]) == yes}  # noqa: E731
        left = budget_s - sum(table.tests_of(kind, m.number).get(n, 0.0) for kind in ("rust", "python") for n in passed)
        for kind, tests in (("rust", quick("rust", unit, True)), ("python", quick("python", outer, True)),
                            ("rust", quick("rust", unit, False)), ("python", quick("python", outer, False))):  # fmt: skip
            batch: dict[str, float] = {}
            for name, s in sorted(tests.items(), key=lambda t: t[1]) if kind == "rust" else tests.items():
                if s <= left:
                    batch[name] = s
                    left -= s
            if not batch:
                continue
            by = (rust if kind == "rust" else python).failing(m.number, batch)
            with table.lock:
                if by is None:
                    stands["passed"] += list(batch)
                else:
                    stands["by"] = f"{kind}: {by}"
                    kills[function(by)] += 1
                    kills[(function(by), m.file)] += 1
                table.write()
            if by is not None:
                break
        if time.monotonic() - began > 0.05:
            print(f"   {m.name}: {stands['by'] or standing(table, m)}, {time.monotonic() - began:.0f} s", flush=True)

    left = [m for m in mutants if not table.words["judged"].get(str(m.number), {}).get("by")]
    with ThreadPoolExecutor(jobs) as pool:
        list(pool.map(one, left))


def standing(table: Table, m: Any) -> str:
    """How a survivor stands."""
    of = len(table.tests_of("rust", m.number)) + len(table.tests_of("python", m.number))
    passed = len(table.words["judged"].get(str(m.number), {"passed": []})["passed"])
    return "met by no test" if of == 0 else f"passed {passed} of {of} tests that meet it"


def told(m: Any) -> tuple[str, str, int]:
    """A mutant by what it does, the line of source and where in it: that outlives a change elsewhere in the file."""
    line = (ROOT / m.file).read_text(encoding="utf-8").splitlines()[m.begin[0]]
    return f"{m.file}: {m.name.split(': ', 1)[1]}", line.strip(), m.begin[1] - (len(line) - len(line.lstrip()))


def explained(mutants: list) -> dict[str, str]:
    """Reasons of the equivalent ones, by the name that cargo-mutants gives them now."""
    entries = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8")).get("equivalent", [])
    reasons = {(e["mutant"], e["line"], e["at"]): e["reason"] for e in entries}
    return {m.name: reasons[told(m)] for m in mutants if told(m) in reasons}


def report(table: Table, mutants: list) -> None:
    from build import FOLDERS

    equivalent = explained(mutants)
    words = {}
    for m in mutants:
        by = table.words["judged"].get(str(m.number), {"by": None})["by"]
        words[m.number] = "equivalent" if by is None and m.name in equivalent else "survived" if by is None else by.split(":")[0]
    print(f"\n{len(mutants)} mutants of {table.words['of']}, seed {table.words['seed']}; left out: {table.words['lost']}")
    recorded = {kind: [name for name, t in tests.items() if t["passed"]] for kind, tests in table.words["recorded"].items()}
    files = {file_of(name) for name in recorded["python"]}
    print(f"   recorded: {len(recorded['rust'])} unit tests, {len(recorded['python'])} Python tests of {len(files)} files")
    columns = ("rust", "python", "survived", "equivalent")
    print(f"   {'':12}{'mutants':>9}{'unit tests':>12}{'Python tests':>14}{'survived':>10}{'equivalent':>12}{'survived %':>12}")
    for folder in (*FOLDERS, ""):
        by = Counter(words[m.number] for m in mutants if m.file.startswith(f"src/{folder}"))
        counted = by.total() - by["equivalent"]
        print(f"   {folder or 'together':12}{by.total():9}" + "".join(f"{by[c]:{w}}" for c, w in zip(columns, (12, 14, 10, 12), strict=True)),
              f"{100 * by['survived'] / max(1, counted):11.1f}")  # fmt: skip
    hung = sum("hangs" in (j["by"] or "") for j in table.words["judged"].values())
    print(f"   {hung} of the caught hang; the share of survivors is of those that are not equivalent")
    print("survivors:")
    for m in mutants:
        if words[m.number] == "survived":
            print(f"   {m.name}: {standing(table, m)}\n      {told(m)[1]}")
    print("equivalent (tests/mutants/equivalent.toml):")
    for m in mutants:
        if words[m.number] == "equivalent":
            print(f"   {m.name}: {equivalent[m.name]}")
    for name in sorted(equivalent):
        if any(m.name == name and words[m.number] in ("rust", "python") for m in mutants):
            sys.exit(f"said to be equivalent, and a test sees it: {name}")


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    words.add_argument("--sample", type=int, default=310)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--again", action="store_true", help="go on with the table that is there")
    words.add_argument("--jobs", type=int, default=1, help="mutants at a time")
    words.add_argument("--budget", type=float, default=120.0, help="seconds of tests, as recorded, for one mutant")
    words.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    asked = words.parse_args()
    import build
    import switches

    WORK.mkdir(parents=True, exist_ok=True)
    every = build.listed()
    table, lost = Table(), Counter()
    if asked.again and TABLE.exists():
        table.read()
        # a test module at the end of a file changes what cargo-mutants shows around a mutant, and no mutant
        which = lambda m: (m["name"], m["genre"], m["replacement"])  # noqa: E731
        known = {which(m) for m in every}
        if any(which(m) not in known for _, m in table.words["sample"]):
            sys.exit("the source has changed at a mutant of the table: run without --again")
        _, tests = build.build([switches.mutant(n, m) for n, m in table.words["sample"]], lost)
    else:
        # a quarter more than asked for: some do not compile
        drawn = random.Random(asked.seed).sample(range(len(every)), min(len(every), asked.sample * 5 // 4))
        print(f"== {len(every)} mutants, {len(drawn)} drawn with seed {asked.seed}", flush=True)
        placed, tests = build.build([switches.mutant(n, every[n]) for n in sorted(drawn)], lost)
        keep = {m.number for m in placed}
        kept = [(n, every[n]) for n in drawn if n in keep][: asked.sample]
        shutil.rmtree(build.SITE, ignore_errors=True)
        table.words |= {"of": len(every), "seed": asked.seed, "lost": dict(lost), "sample": kept}
        table.write()
    mutants = [switches.mutant(n, m) for n, m in table.words["sample"]]
    rust, python = Rust(tests), Python(build.wheel(), build.SITE)
    record(table, rust, python, asked.jobs)
    # every mutant against what is quick, so that a long run says early how it stands; then what is left against the rest
    if asked.budget > FIRST_S:
        judge(table, rust, python, mutants, asked.jobs, FIRST_S)
        report(table, mutants)
    judge(table, rust, python, mutants, asked.jobs, asked.budget)
    python.orders.close()
    report(table, mutants)


if __name__ == "__main__":
    tools()
    main()
