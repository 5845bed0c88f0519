"""Loss of one section over resistances and frequencies: the array kernel against numpy chain matrices, in one run.

Prints medians of interleaved runs and their ratio; compares results first. Not a test: times depend on the machine.
"""

import statistics
import subprocess
import sys
import time

import numpy as np

import weaklink as wl

SETS, FREQUENCIES, RUNS = 4000, 200, 7


def section() -> wl.Section:
    contacts = [wl.Contact(f"c{k}", resistance_ohm=0.0) for k in range(3)]
    return wl.Section(
        "cartridge",
        source=wl.Source(emf_v=5e-3, resistance_ohm=1000.0, inductance_h=0.5),
        path=[wl.Lead(capacitance_f=150e-12), *contacts],
        load=wl.Load(resistance_ohm=47e3, capacitance_f=100e-12),
    )


def by_numpy(f, ohms):
    """Vectorised chain matrices: source, shunt, three contacts, load; against the same without contacts."""
    w = 2j * np.pi * f

    def emf(contacts):
        shape = np.broadcast_shapes(f.shape, *(c.shape for c in contacts))
        one = np.ones(shape, complex)

        def series(z):
            return np.stack([np.stack([one, z * one], -1), np.stack([0 * one, one], -1)], -2)

        def shunt(y):
            return np.stack([np.stack([one, 0 * one], -1), np.stack([y * one, one], -1)], -2)

        chain = series(1000.0 + w * 0.5) @ shunt(w * 150e-12)
        for c in contacts:
            chain = chain @ series(c)
        return (chain @ shunt(1 / 47e3 + w * 100e-12))[..., 0, 0]

    return 20 * np.log10(abs(emf(ohms) / emf([np.zeros((1, 1))])))


def main() -> None:
    rng = np.random.default_rng(1)
    f = np.geomspace(20.0, 20e3, FREQUENCIES)[None, :]
    ohms = [rng.uniform(0.0, 1e4, (SETS, 1)) for _ in range(3)]
    ready = section()
    named = {f"c{k}": ohm for k, ohm in enumerate(ohms)}
    ours, peer = (lambda: ready.loss_db(f, contacts=named)), (lambda: by_numpy(f, ohms))
    assert np.max(abs(ours() - peer())) < 1e-9
    times = {"weaklink": [], "numpy": []}
    for _ in range(RUNS):
        for name, call in (("weaklink", ours), ("numpy", peer)):
            began = time.perf_counter()
            call()
            times[name].append(time.perf_counter() - began)
    a, b = (statistics.median(times[name]) for name in ("weaklink", "numpy"))
    print(f"loss_db, {SETS} sets x {FREQUENCIES} frequencies: weaklink {a * 1e3:.1f} ms, numpy {b * 1e3:.0f} ms, ratio {b / a:.1f}")
    began = time.perf_counter()
    for _ in range(100_000):
        ready.loss_db(1000.0)
    print(f"one scalar call: {(time.perf_counter() - began) * 10:.2f} us")
    imports = {"numpy": [], "weaklink": []}
    for _ in range(RUNS):
        for name in imports:
            began = time.perf_counter()
            subprocess.run([sys.executable, "-c", f"import {name}"], check=True)
            imports[name].append(time.perf_counter() - began)
    bare = min(imports["numpy"]), min(imports["weaklink"])
    middle = statistics.median(imports["weaklink"]) / statistics.median(imports["numpy"])
    print(f"import: numpy {bare[0] * 1e3:.0f} ms, weaklink {bare[1] * 1e3:.0f} ms at best; ratio of medians {middle:.2f}")


if __name__ == "__main__":
    main()
