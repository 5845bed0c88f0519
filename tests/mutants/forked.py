"""The Python tests, collected once; each order that comes in runs some of them in a forked child, in the order asked for.

A line in is JSON: `{"id": 1, "mutant": null or 17, "tests": [node ids], "limit_s": 60}`; a line out `{"id": 1, ...}` with what the child
wrote: with a mutant `{"failed": node id or null}`, at the first failure; without one `{"tests": {node id: {"s", "met", "passed"}}}`, where
`met` are the switches that a test meets, in this process or in one that it starts. What a fixture of a wider scope meets counts for
every test that asks for it. The first line out tells what was collected.
"""

import ctypes
import json
import os
import resource
import select
import shutil
import signal
import sys
import time
from pathlib import Path

import hypothesis
import pytest
import weaklink._core

CORE = ctypes.CDLL(weaklink._core.__file__)
WORK = Path(__file__).resolve().parents[2] / "target" / "mutants"
MEMORY_BYTE = 8 << 30


def begin(mutant: int | None, met: Path | None) -> None:
    """Chooses for this process and those it starts."""
    for name, value in (("MUTANT", mutant), ("MUTANTS_MET", met)):
        if value is None:
            os.environ.pop(name, None)
        else:
            os.environ[name] = str(value)
    CORE.mutants_begin()


class Server:
    """A pytest plugin that puts itself in place of the loop over the tests."""

    def __init__(self) -> None:
        # pytest has the streams from here on
        self.orders, self.answers = os.dup(0), os.fdopen(os.dup(1), "w")
        nothing = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1):
            os.dup2(nothing, stream)
        self.failed = ""
        self.met: Path | None = None
        self.seen: set[int] = set()
        self.shared: dict[str, set[int]] = {}
        self.at_collection: dict[str, list[int]] = {}

    def answer(self, **words: object) -> None:
        print(json.dumps(words), file=self.answers, flush=True)

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection(self) -> None:
        # a smaller example of a failure tells nothing more here
        phases = [hypothesis.Phase.explicit, hypothesis.Phase.generate]
        hypothesis.settings.register_profile("mutants", hypothesis.settings.get_profile("weaklink"), phases=phases)
        hypothesis.settings.load_profile("mutants")

    @pytest.hookimpl(wrapper=True)
    def pytest_make_collect_report(self, collector):
        """What a file meets while it is collected is no test's: it is told, and that file's tests are run in a process of their own."""
        if not isinstance(collector, pytest.Module):
            return (yield)
        met = WORK / "met" / "collection"
        met.parent.mkdir(parents=True, exist_ok=True)
        met.unlink(missing_ok=True)
        begin(None, met)
        report = yield
        if numbers := numbers_in(met):
            self.at_collection[Path(collector.path).name] = sorted(numbers)
        begin(None, None)
        return report

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        items = {item.nodeid: item for item in session.items}
        self.answer(collected=list(items), at_collection=self.at_collection, threads=sorted(threads()))
        children: dict[int, tuple[int, float, Path]] = {}
        text = b""
        while text is not None or children:
            if text is not None and select.select([self.orders], [], [], 0.02)[0]:
                more = os.read(self.orders, 1 << 20)
                *lines, text = (text + more).split(b"\n") if more else (None,)
                for line in lines:
                    order = json.loads(line)
                    folder = WORK / "orders" / str(order["id"])
                    shutil.rmtree(folder, ignore_errors=True)
                    folder.mkdir(parents=True)
                    child = os.fork()
                    if child == 0:
                        self.child([items[name] for name in order["tests"]], order["mutant"], folder)
                    children[child] = (order["id"], time.monotonic() + order["limit_s"], folder)
            elif text is None:
                time.sleep(0.02)
            for child, (number, ends, folder) in list(children.items()):
                late = time.monotonic() > ends
                if late:
                    os.killpg(child, signal.SIGKILL)
                done, status = os.waitpid(child, 0 if late else os.WNOHANG)
                if done:
                    del children[child]
                    said = folder / "said.json"
                    if status or not said.exists():
                        at = folder / "at"
                        name = at.read_text(encoding="utf-8") if at.exists() else "?"
                        self.answer(id=number, failed=f"{name} ({'hangs' if late else 'the process ends'})")
                    else:
                        self.answer(id=number, **json.loads(said.read_text(encoding="utf-8")))
                    shutil.rmtree(folder, ignore_errors=True)
        return True

    def child(self, items: list[pytest.Item], mutant: int | None, folder: Path) -> None:
        os.setpgid(0, 0)
        nothing = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(nothing, stream)
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTE, MEMORY_BYTE))
        os.environ["PYTEST_DEBUG_TEMPROOT"] = str(folder)
        told: dict = {}
        if mutant is not None:
            begin(mutant, None)
        else:
            self.met = folder / "met"
        for item, after in zip(items, [*items[1:], None], strict=True):
            (folder / "at").write_text(item.nodeid, encoding="utf-8")
            self.failed = ""
            if mutant is None:
                begin(None, self.met)
            began = time.monotonic()
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=after)
            if mutant is None:
                self.look()
                wide = set().union(*(self.shared.get(name, ()) for name in item.fixturenames))
                told[item.nodeid] = {"s": time.monotonic() - began, "met": sorted(self.seen | wide), "passed": not self.failed}
                self.seen = set()
            elif self.failed:
                break
        words = {"tests": told} if mutant is None else {"failed": self.failed or None}
        (folder / "said.json").write_text(json.dumps(words), encoding="utf-8")
        os._exit(0)

    def look(self) -> set[int]:
        """What was met since the last look."""
        new = numbers_in(self.met)
        self.met.write_bytes(b"")
        begin(None, self.met)
        self.seen |= new
        return new

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef):
        if self.met is None or fixturedef.scope == "function":
            return (yield)
        self.look()
        try:
            return (yield)
        finally:
            self.shared.setdefault(fixturedef.argname, set()).update(self.look())

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.failed = self.failed or report.nodeid


def threads() -> set[str]:
    """Names of the threads that a child would lack, but for those that only tidy up memory."""
    names = {(task / "comm").read_text().strip() for task in Path("/proc/self/task").iterdir() if task.name != str(os.getpid())}
    return names - {"jemalloc_bg_thd", "polars-ooc-clea"}


def numbers_in(met: Path) -> set[int]:
    return {int(line) for line in met.read_bytes().split()} if met.exists() else set()


if __name__ == "__main__":
    sys.exit(pytest.main(["-s", "-q", "-p", "no:cacheprovider", *sys.argv[1:]], plugins=[Server()]))
