"""Loss of one section over resistances and frequencies against numpy: chain matrices, and the best closed form that we know."""

import numpy as np
import weaklink as wl

from .common import row

SETS, FREQUENCIES = 4000, 200
# per point, counted from src/response/collapsed/rows.rs, a fused one as two: eight terms (14), times the resistance (1); by logarithms it were 33
OPERATIONS = 15


def section(contacts=3):
    named = [wl.Contact(f"c{k}", resistance_ohm=0.0) for k in range(contacts)]
    return wl.Section(
        "cartridge",
        source=wl.Source(emf_v=5e-3, resistance_ohm=1000.0, inductance_h=0.5),
        path=[wl.Lead(capacitance_f=150e-12), *named],
        load=wl.Load(resistance_ohm=47e3, capacitance_f=100e-12),
    )


def asked(sets=SETS, contacts=3):
    rng = np.random.default_rng(1)
    return np.geomspace(20.0, 20e3, FREQUENCIES)[None, :], [rng.uniform(0.0, 1e4, (sets, 1)) for _ in range(contacts)]


def by_matrices(f, ohms):
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


def by_closed_form(f, ohms):
    """Power of `1 + R k(f)`, R the sum of the contacts and k complex per frequency only: three real operations a point and a logarithm."""
    w = 2j * np.pi * f
    z, y, load = 1000.0 + w * 0.5, w * 150e-12, 1 / 47e3 + w * 100e-12
    k = (1 + z * y) * load / (1 + z * y + z * load)
    square, twice = np.abs(k) ** 2, 2 * k.real
    ohm = ohms[0] + ohms[1] + ohms[2]
    power = square * ohm
    power += twice
    power *= ohm
    np.log1p(power, out=power)
    power *= 10 / np.log(10)
    return power


def rows():
    f, ohms = asked()
    ready, named = section(), {f"c{k}": ohm for k, ohm in enumerate(ohms)}
    points = SETS * FREQUENCIES

    def ours():
        return ready.loss_db(f, contacts=named)

    out = []
    for name, peer, wanted in (("chain matrices", by_matrices, 40), ("best closed form", by_closed_form, 15)):
        assert np.max(abs(ours() - peer(f, ohms))) < 1e-9
        title = f"loss_db, {SETS} sets x {FREQUENCIES} frequencies"
        out.append(row(title, ours, f"numpy, {name}", lambda peer=peer: peer(f, ohms), wanted, operations=OPERATIONS * points, written_bytes=8 * points))
    return out
