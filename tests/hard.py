"""The figures of "How it was tried": python3 tests/hard.py [--full]. Run tests/run.py first: it makes the environment that this uses.

Without --full a few minutes with reduced numbers; with it hours, for what the README prints: a million random sections, ten minutes
of fuzzing for each way in (cargo-fuzz), at least 300 mutants (cargo-mutants), a log of ten million rows, a thousand trials of each interval.
A part whose tool is not there says so; a part that fails makes the command fail.
"""

import argparse
import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PYTHON = ROOT / "target" / "venv-test" / ("Scripts" if os.name == "nt" else "bin") / "python"
FUZZ = ROOT / "tests" / "fuzz"


def said(command: list[str], cwd: Path = ROOT, **more: str) -> tuple[int, str]:
    done = subprocess.run(command, cwd=cwd, env=os.environ | more, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False)
    return done.returncode, done.stdout


def lines(text: str, *patterns: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if any(re.search(p, line) for p in patterns)]


def sections(full: bool) -> tuple[bool, list[str]]:
    count = 1_000_000 if full else 20_000
    code, text = said(["cargo", "run", "-q", "--release", "--example", "stress", "--features", "threads", "--", str(count), "1"])
    slow, more = said([str(PYTHON), "-m", "pytest", "-q", "-s", "tests/python/test_steady.py", "-k", "dense_oracle"])
    beside = [f"THD against a dense Newton in numpy: {line}" for line in lines(more, "judged")]
    return code == 0 and slow == 0, lines(text, "converged", "bound/residue", "rounds:", "us:", "ceiling", "WRONG") + beside


def fuzzing(full: bool) -> tuple[bool, list[str]]:
    if not shutil.which("cargo-fuzz"):
        return True, ["not run: no cargo-fuzz here (cargo install cargo-fuzz)"]
    out, fine = [], True
    for target in sorted(p.stem for p in (FUZZ / "fuzz_targets").glob("*.rs")):
        found = ROOT / "target" / "fuzz-found" / target
        found.mkdir(parents=True, exist_ok=True)
        seconds = 600 if full else 20
        command = ["cargo", "fuzz", "run", "--fuzz-dir", ".", "-O", target, str(found), f"corpus/{target}", "--"]
        command += [f"-max_total_time={seconds}", "-timeout=60", "-rss_limit_mb=4096", "-print_final_stats=1"]
        code, text = said(command, FUZZ, RUSTC_BOOTSTRAP="1")
        fine &= code == 0
        runs = re.search(r"number_of_executed_units: (\d+)", text)
        cover = re.findall(r"cov: (\d+) ft: (\d+)", text)
        count = f"{int(runs[1]):,} executions" if runs else text[-300:]
        out.append(f"{target}: {count}, {cover[-1][0] if cover else '?'} edges, {'no finding' if code == 0 else 'FAILED'}")
    return fine, out


def mutants(full: bool) -> tuple[bool, list[str]]:
    if not full:
        return True, ["not run without --full: python3 tests/mutants/run.py"]
    if not shutil.which("cargo-mutants"):
        return True, ["not run: no cargo-mutants here (cargo install cargo-mutants)"]
    code, text = said([sys.executable, "tests/mutants/run.py", "--jobs", "2"])
    return code == 0, text[text.rfind("\n\n") :].strip().splitlines()


def cut_log(full: bool) -> tuple[bool, list[str]]:
    code, text = said([str(PYTHON), "tests/hard/log_cut.py", "10000000" if full else "200000"])
    return code == 0, text.strip().splitlines()[-3:]


def intervals(full: bool) -> tuple[bool, list[str]]:
    code, text = said([str(PYTHON), "tests/hard/coverage.py", *(("1000", "200") if full else ("100", "8"))])
    rust, more = said(["cargo", "test", "--lib", "--features", "job,threads", "intervals_of_95", "--", "--nocapture"])
    return code == 0 and rust == 0, text.strip().splitlines() + lines(more, "^coverage:")


def counted(_: bool) -> tuple[bool, list[str]]:
    """What the test command holds: malformed input, interrupts, files, the browser."""
    files = ["test_every_key.py", "test_bad_input.py", "test_sheets.py", "test_files.py", "test_interrupt.py", "test_frozen_sheet.py", "test_page_browser.py", "test_properties.py"]
    out, fine = [], True
    for name in files:
        code, text = said([str(PYTHON), "-m", "pytest", "-q", f"tests/python/{name}"])
        fine &= code == 0
        out.append(f"{name}: {text.strip().splitlines()[-1].strip('= ')}")
    return fine, out


PARTS = {
    "random sections through the solver": sections,
    "fuzzing": fuzzing,
    "mutation testing": mutants,
    "a log cut in the middle": cut_log,
    "95 % intervals against planted truths": intervals,
    "the test command's own": counted,
}


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    words.add_argument("--full", action="store_true")
    words.add_argument("--only", help="a part by a word of its name")
    asked = words.parse_args()
    failed = []
    for name, part in PARTS.items():
        if asked.only and asked.only not in name:
            continue
        began = time.monotonic()
        fine, figures = part(asked.full)
        print(f"{name} ({time.monotonic() - began:.0f} s){'' if fine else ': FAILED'}")
        print("\n".join(f"    {line}" for line in figures), flush=True)
        if not fine:
            failed.append(name)
    if failed:
        sys.exit("failed: " + ", ".join(failed))


if __name__ == "__main__":
    main()
