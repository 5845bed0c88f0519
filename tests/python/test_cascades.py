"""500 random sections against a nodal solve in numpy and against scikit-rf's cascades, both written apart from the library."""

import numpy as np
import skrf

import weaklink as wl

# two double-precision solves of a few dozen operations
NODAL = 1e-11
# scikit-rf goes through scattering parameters, which loses digits where impedances are far from its reference
SECTIONS = 500


def random_section(rng):
    log = lambda low, high: 10 ** rng.uniform(np.log10(low), np.log10(high))  # noqa: E731
    source = (log(0.05, 1e4), log(1e-6, 0.7) if rng.random() < 0.5 else 0.0)
    load = (log(4, 1e5), log(1e-12, 1e-9))
    path, contacts = [], {}
    for k in range(rng.integers(1, 5)):
        if rng.random() < 0.7:
            path.append(("lead", log(1e-3, 100), log(1e-8, 1e-4), log(1e-12, 1e-8) if rng.random() < 0.6 else 0.0))
        path.append(("contact", f"c{k}", log(1e-3, 1e5)))
        contacts[f"c{k}"] = path[-1][2]
    rng.shuffle(path)
    return source, [tuple(item) for item in path], load, contacts, log(10, 4e4)


def as_section(source, path, load):
    items = [
        wl.Lead(resistance_ohm=float(i[1]), inductance_h=float(i[2]), capacitance_f=float(i[3]))
        if i[0] == "lead"
        else wl.Contact(str(i[1]), resistance_ohm=float(i[2]))
        for i in path
    ]
    return wl.Section(
        "random",
        source=wl.Source(emf_v=1.0, resistance_ohm=source[0], inductance_h=source[1]),
        path=items,
        load=wl.Load(resistance_ohm=load[0], capacitance_f=load[1]),
    )


def nodal(source, path, load, frequency, perfect=False):
    """Branch currents and node voltages of the ladder in one linear system, solved by numpy.

    Voltage and current both stay unknown, so that no small impedance is inverted; currents are scaled to volts.
    """
    w = 2j * np.pi * frequency
    branches = [(source[0] + w * source[1], 0.0)]
    for item in path:
        if item[0] == "lead":
            branches.append((item[1] + w * item[2], w * item[3]))
        else:
            branches.append((0.0 if perfect else item[2], 0.0))
    z, y = (np.array(column, complex) for column in zip(*branches, strict=True))
    y[-1] += 1 / load[0] + w * load[1]
    n, scale = len(z), abs(1 / y[-1])
    matrix, right = np.zeros((2 * n, 2 * n), complex), np.zeros(2 * n, complex)
    for k in range(n):
        # v[k-1] - v[k] - z[k] i[k] = 0, with the EMF before the first
        matrix[k, k], matrix[k, n + k] = -1.0, -z[k] / scale
        if k:
            matrix[k, k - 1] = 1.0
        # i[k] - i[k+1] - y[k] v[k] = 0
        matrix[n + k, n + k], matrix[n + k, k] = 1.0, -y[k] * scale
        if k + 1 < n:
            matrix[n + k, n + k + 1] = -1.0
    right[0] = -1.0
    return np.linalg.solve(matrix, right)[n - 1]


def by_scikit_rf(source, path, load, frequency):
    """The same ladder as a cascade of two-ports in scikit-rf."""
    w = 2j * np.pi * frequency
    # a real reference near the geometric mean of the impedances keeps the scattering parameters well conditioned
    z0 = float(np.sqrt(abs(source[0] + w * source[1]) / abs(1 / load[0] + w * load[1])))
    freq = skrf.Frequency.from_f([frequency], unit="hz")

    def two_port(a, b, c, d):
        return skrf.Network(frequency=freq, a=np.array([[[a, b], [c, d]]], complex), z0=z0)

    chain = two_port(1, source[0] + w * source[1], 0, 1)
    for item in path:
        if item[0] == "lead":
            chain = chain ** two_port(1, item[1] + w * item[2], 0, 1) ** two_port(1, 0, w * item[3], 1)
        else:
            chain = chain ** two_port(1, item[2], 0, 1)
    chain = chain ** two_port(1, 0, 1 / load[0] + w * load[1], 1)
    return 1 / chain.a[0, 0, 0]


def test_against_numpy_and_scikit_rf():
    rng = np.random.default_rng(20)
    worst = {"numpy": 0.0, "scikit-rf": 0.0, "loss": 0.0}
    for _ in range(SECTIONS):
        source, path, load, contacts, frequency = random_section(rng)
        path = [tuple([i[0], *map(float, i[1:])]) if i[0] == "lead" else (i[0], str(i[1]), float(i[2])) for i in path]
        section = as_section(source, path, load)
        found = section.transfer(frequency)
        expected = nodal(source, path, load, frequency)
        worst["numpy"] = max(worst["numpy"], abs(found / expected - 1))
        perfect = nodal(source, path, load, frequency, perfect=True)
        loss = 20 * np.log10(abs(perfect / expected))
        worst["loss"] = max(worst["loss"], abs(section.loss_db(frequency) - loss) / max(1.0, abs(loss)))
        other = by_scikit_rf(source, path, load, frequency)
        worst["scikit-rf"] = max(worst["scikit-rf"], abs(found / other - 1))
    print(worst)
    assert worst["numpy"] < NODAL and worst["loss"] < 10 * NODAL, worst
    assert worst["scikit-rf"] < NODAL, worst


def test_chain_is_the_product_of_its_sections():
    rng = np.random.default_rng(7)
    source, path, load, _, frequency = random_section(rng)
    path = [tuple([i[0], *map(float, i[1:])]) if i[0] == "lead" else (i[0], str(i[1]), float(i[2])) for i in path]
    first = as_section(source, path, load)
    second = wl.Section(
        "next", source=None, path=[wl.Contact("last", resistance_ohm=30.0)], load=wl.Load(resistance_ohm=1e4)
    )
    chain = wl.Chain([first, wl.Stage("buffer", gain_db=6.0, output_resistance_ohm=100.0), second])
    expected = first.transfer(frequency) * 10 ** (6 / 20) * 1e4 / 10130.0
    assert abs(chain.transfer(frequency) / expected - 1) < NODAL
