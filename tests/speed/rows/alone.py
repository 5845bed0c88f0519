"""What has no numpy beside it: a scalar call, the import, draws, threads, how the cost grows. Each prints its own lines."""

import json
import os
import resource
import statistics
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import weaklink as wl

from . import films, linear
from .common import RUNS, interleaved

ROOT = Path(__file__).resolve().parents[3]
TEN_CONTACTS = ROOT / "notebooks" / "jobs" / "gritty-right-on-records.toml"


def scalar(machine):
    ready, calls = linear.section(), 50_000

    def run():
        for _ in range(calls):
            ready.loss_db(1000.0)

    (wall, cpu), = interleaved(run)
    line = f"one scalar call of loss_db: {1e6 * wall / calls:.2f} us ({1e6 * cpu / calls:.2f} us of processor time)"
    if machine:
        arithmetic = machine["scalar_kernel_ns"] / 1e3
        line += f"; its arithmetic in Rust {arithmetic:.3f} us (plain walk {machine['scalar_plain_ns'] / 1e3:.3f}), so {1e6 * cpu / calls - arithmetic:.2f} us beside it (wanted 0.5)"
    print(line)


def imports():
    spent = {"numpy": [], "weaklink": []}
    for _ in range(RUNS):
        for name, times in spent.items():
            began = time.perf_counter()
            subprocess.run([sys.executable, "-c", f"import {name}"], check=True)
            times.append(time.perf_counter() - began)
    ours, theirs = (statistics.median(spent[name]) for name in ("weaklink", "numpy"))
    print(f"import weaklink {1e3 * ours:.0f} ms, import numpy {1e3 * theirs:.0f} ms: ratio {ours / theirs:.2f} (wanted at most 1.2)")


def child(what, *more, threads=None):
    """Runs a part of this file in a process of its own, with so many threads."""
    env = dict(os.environ)
    if threads:
        env["RAYON_NUM_THREADS"] = str(threads)
    code = f"from rows import alone; alone.{what}({', '.join(map(repr, more))})"
    done = subprocess.run([sys.executable, "-c", code], cwd=Path(__file__).parents[1], env=env, check=True, stdout=subprocess.PIPE, text=True)
    return json.loads(done.stdout)


def draw(count):
    job = wl.load_job(TEN_CONTACTS)
    began, spent = time.perf_counter(), time.process_time()
    found = wl.assess(job, draws=count, seed=1)
    wall, cpu = time.perf_counter() - began, time.process_time() - spent
    contacts = len({f.contact for f in found.findings})
    print(json.dumps({"wall": wall, "cpu": cpu, "mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, "contacts": contacts}))


def draws():
    for count in (10_000, 100_000, 1_000_000):
        got = child("draw", count)
        print(f"assess, {got['contacts']} contacts, {count:,} draws: {got['wall']:.2f} s, {got['cpu']:.2f} s of processor time, at most {got['mib']:.0f} MiB"
              + (" (wanted under 10 s)" if count == 1_000_000 else ""))  # fmt: skip


# new memory of 64 MB is no small part of the time: with an array that is there, and without
NEW, GIVEN = "loss_db, 8 million points, new memory", "loss_db, 8 million points, out="
FILMS = "film THD, 8 million films"


def large(name):
    if name != FILMS:
        ready, (f, ohms) = linear.section(), linear.asked(40_000)
        named = {f"c{k}": ohm for k, ohm in enumerate(ohms)}
        out = np.zeros((40_000, linear.FREQUENCIES)) if name == GIVEN else None
        (wall, _), = interleaved(lambda: ready.loss_db(f, contacts=named, out=out), runs=15)
    else:
        ready, ohms = films.section(films.LAWS[0][1]), np.geomspace(1.0, 300.0, 8_000_000)
        (wall, _), = interleaved(lambda: ready.distortion(1e3, contacts={"k": ohms}, harmonics=1), runs=3)
    print(json.dumps(wall))


def threads(machine):
    for name in (GIVEN, NEW, FILMS):
        spent = {1: [], 2: []}
        for _ in range(3 if name == FILMS else 7):
            for count, times in spent.items():
                times.append(child("large", name, threads=count))
        one, two = (statistics.median(spent[count]) for count in (1, 2))
        memory = f"; the machine's memory {machine['gb_s_all'] / machine['gb_s_one']:.2f} times" if machine and name != FILMS else ""
        print(f"{name}: one thread {one:.4f} s, two {two:.4f} s: {one / two:.2f} times (wanted 1.8){memory}")


def scaling():
    print("how the cost grows (processor time):")
    for contacts in (1, 3, 10, 30):
        ready, (f, ohms) = linear.section(contacts), linear.asked(4000, contacts)
        named = {f"c{k}": ohm for k, ohm in enumerate(ohms)}
        (_, cpu), = interleaved(lambda: ready.loss_db(f, contacts=named))
        print(f"   loss_db, {contacts:2d} contacts: {1e9 * cpu / ohms[0].size / f.size:5.2f} ns a point")
    ready, ohms = films.section(films.LAWS[0][1]), np.geomspace(1.0, 300.0, films.COUNT)
    for harmonics in (1, 10, 100):
        (_, cpu), = interleaved(lambda: ready.distortion(1e3, contacts={"k": ohms}, harmonics=harmonics))
        print(f"   film THD, {harmonics:3d} harmonics written: {1e9 * cpu / films.COUNT:5.0f} ns a film")
    for name, film, *_ in films.LAWS:
        ready = films.section(film)
        for ratio in (0.1, 1.0, 10.0, 100.0):
            (_, cpu), = interleaved(lambda: ready.distortion(1e3, emf_v=0.5 * ratio, contacts={"k": ohms}))
            print(f"   {name} film THD, at {0.5 * ratio:g} V: {1e9 * cpu / films.COUNT:5.0f} ns a film")
