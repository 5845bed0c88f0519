"""A slow, plain oracle for the periodic steady state of a passive section with nonlinear contacts.

Written from the physics (Kirchhoff's laws branch by branch, film laws, Small's loudspeaker), sharing no formula with the
fast solver it judges. Three ways to one answer: dense Newton on samples (`oracle_newton`), the same equations with many digits and integration in
time of hand-written state equations (`oracle_more`). Here are the laws and the network, every branch current an unknown.

Convention of all harmonics X: x(t) = X[0] + Re sum_h sqrt(2) X[h] exp(j h w t): complex rms, cosine reference; X[0] is the
mean. Tones: list of (harmonic index, complex rms EMF). Sections are what `Section.to_dict()` gives. test_oracle.py checks it.
"""

import math

import numpy as np
from numpy.polynomial.polynomial import polyval

BOLTZMANN_J_PER_K, CHARGE_C, ROOM_K = 1.380649e-23, 1.602176634e-19, 293.15  # CODATA 2018, exact
THERMAL_V = BOLTZMANN_J_PER_K * ROOM_K / CHARGE_C
HEATING_V = 2 * math.pi / math.sqrt(3) * THERMAL_V  # 2 sqrt(L) T0 with L = pi^2/3 (k/e)^2
EXPONENT_LIMIT = 700.0  # a law goes on along its tangent beyond it
TAIL = 1e-9  # the top tenth of the harmonics, relative to the largest deviation, for enough samples
SOLVED = 1e-11  # residual that counts as solved, relative to its terms; Newton goes on to rounding
ROUNDED = 1e-8  # residual that is no Newton that is stuck: a walk up in EMF would end there again
MOST_DENSE, MOST_RESISTIVE = 4100, 2**18  # caps on unknowns: contacts x samples, dense and decoupled

# ---------------------------------------------------------------------------------------------------------- film laws


def law(film, halves=1):
    """(shape, g, unit, share): i = g (share unit shape(u/unit) + (1-share) u); halves=2: the film as half the current sees it."""
    g = 1.0 / (halves * film["resistance_ohm"])
    if film["law"] == "tunnelling":
        return "sinh", g, film["scale_v"], 1.0
    if film["law"] == "rectifying":
        return "expm1", g, film["ideality"] * THERMAL_V, 1.0 - film["leak_ratio"]
    return "atan", g, HEATING_V, 1.0


# what shape(x) has beyond x: coefficients of x^3, x^5, ... where it is odd, of x^2, x^3, ... where it is not
SERIES = {"atan": [(-1) ** k / (2 * k + 1) for k in range(1, 22)], "sinh": [1 / math.factorial(k) for k in range(3, 24, 2)],
          "expm1": [1 / math.factorial(k) for k in range(2, 22)]}  # fmt: skip


def excess(shape, x):
    """shape(x) - x, by its series where the two would cancel, and the slope of shape."""
    z = np.clip(x, -1.0, 1.0)
    series = z**2 * polyval(z, SERIES[shape]) if shape == "expm1" else z * z**2 * polyval(z**2, SERIES[shape])
    if shape == "atan":
        return np.where(np.abs(x) < 0.3, series, np.arctan(x) - x), 1 / (1 + x * x)
    low = -EXPONENT_LIMIT if shape == "sinh" else -np.inf
    y = np.clip(x, low, EXPONENT_LIMIT)
    plain, slope = (np.sinh(y) - x, np.cosh(y)) if shape == "sinh" else (np.expm1(y) - x, np.exp(y))
    return np.where(np.abs(x) < 1.0, series, plain + slope * np.where(x == y, 0.0, x - y)), slope


def phi(film, u):
    """What the film carries beyond its zero-voltage resistance, A, and the slope of its whole current, S."""
    shape, g, unit, share = film
    more, slope = excess(shape, u / unit)
    return g * share * unit * more, g * (share * slope + 1.0 - share)


def film_voltage(film, r, x):
    """u with u + r i(u) = x: Newton between brackets; convex or concave on either side of zero, so it comes down one side."""
    shape, g, unit, share = film
    top = np.abs(x)  # |u| <= |x|, and |u| is at most what the film alone would take at the current x/r
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        if shape == "sinh":
            top = np.minimum(top, unit * np.arcsinh(np.abs(x) / (r * g * unit)))
        elif shape == "expm1" and share > 0:
            top = np.where(x > 0, np.minimum(top, unit * np.log1p(np.abs(x) / (r * g * unit * share))), top)
    u = np.sign(x) * top if shape == "sinh" else np.where(x > 0, top, 0.0) if shape == "expm1" else 0.0 * x
    for _ in range(200):
        more, slope = phi(film, u)
        step = (u + r * (g * u + more) - x) / (1 + r * slope)
        new = np.clip(u - step, np.minimum(np.sign(x) * top, 0.0), np.maximum(np.sign(x) * top, 0.0))
        done = np.all(np.abs(new - u) <= 1e-14 * np.abs(u))  # what is left is polished below
        u = new
        if done:
            break
    return u


def film_deviation(film, r, u0, dx):
    """(du, di, d du/dx, d di/dx) for the unknown x = u + r i, as deviations from the zero-voltage line through u0.

    (1 + r g) du + r phi(u0 + du) = dx: the right side is never a difference of two nearly equal numbers.
    """
    g = film[1]
    du = film_voltage(film, r, (1 + r * g) * u0 + dx) - u0
    for _ in range(4):
        more, slope = phi(film, u0 + du)
        du = du - ((1 + r * g) * du + r * more - dx) / (1 + r * slope)
    more, slope = phi(film, u0 + du)
    return du, g * du + more, 1 / (1 + r * slope), slope / (1 + r * slope)


# ------------------------------------------------------------------------- the network: every branch current an unknown


class Network:
    """Modified nodal analysis with two rails: A0 + j w A1 on node voltages and branch currents. Ohmic contacts are branches."""

    def __init__(self, section):
        self.nodes, self.branches = 0, []  # branch: (kind, name, from, to, first value, second value)
        self.films, self.ohmic = [], []  # (branch, contact, halves, law), (branch, contact, halves)
        top, rail = self.node(), 0
        self.add("emf", "emf", top, 0)
        source, load = section["source"], section["load"]
        top = self.series("source", top, source["resistance_ohm"], source.get("inductance_h", 0.0))
        for number, item in enumerate(section["path"]):
            (kind, part), = item.items()
            if kind == "lead":
                top = self.series(f"lead {number}", top, part.get("resistance_ohm", 0.0), part.get("inductance_h", 0.0))
                if part.get("capacitance_f", 0.0) > 0:
                    self.add("c", f"lead {number} c", top, rail, part["capacitance_f"])
            elif kind == "divider":
                ratio = 10 ** (part["setting_db"] / 20)
                top = self.series(f"track above {number}", top, (1 - ratio) * part["track_ohm"])
                self.add("rl", f"track below {number}", top, rail, ratio * part["track_ohm"], 0.0)
                if part.get("wiper"):
                    top, rail = self.contact(part["wiper"], top, rail)
            else:
                top, rail = self.contact(part, top, rail)
        if load.get("capacitance_f", 0.0) > 0:
            self.add("c", "load c", top, rail, load["capacitance_f"])
        speaker = load.get("loudspeaker")
        if speaker:  # Small: Zm = Res/(1 + j Qms (f/f0 - f0/f)) is Res beside C = Qms/(w0 Res) and L = Res/(w0 Qms)
            w0, res, cap, ind = motional(speaker)
            inner = self.series("voice coil", top, speaker["voice_coil_ohm"], speaker.get("voice_coil_h", 0.0))
            self.add("rl", "motional r", inner, rail, res, 0.0)
            self.add("rl", "motional l", inner, rail, 0.0, ind)
            self.add("c", "motional c", inner, rail, cap)
        else:
            self.add("rl", "load", top, rail, load["resistance_ohm"], 0.0)
        self.top, self.rail = top, rail
        n = self.size = self.nodes + len(self.branches)
        self.a1 = np.zeros((n, n))
        self.a0 = {"norton": np.zeros((n, n)), "hybrid": np.zeros((n, n))}
        films = {branch: (contact, film) for branch, contact, _, film in self.films}
        for b, (kind, _, p, q, first, second) in enumerate(self.branches):
            row = self.nodes + b
            for mode, a in self.a0.items():
                for node, sign in ((p, 1.0), (q, -1.0)):
                    if node:
                        a[node - 1, row] += sign  # currents that leave a node sum to zero
                        if kind == "c":
                            self.a1[row, node - 1] = sign * first
                        elif not (kind == "film" and mode == "hybrid" and films[b][0]["role"] == "shunt"):
                            a[row, node - 1] += sign
                if kind == "c":
                    a[row, row] = -1.0  # jwC v - i = 0
                elif kind == "rl":
                    a[row, row] = -first  # v - (R + jwL) i = 0
                    self.a1[row, row] = -second
                elif kind == "film" and mode == "norton":
                    a[row, row] = -1.0 / films[b][1][1]  # v - R i = -R phi
                elif kind == "film" and films[b][0]["role"] == "shunt":
                    a[row, row] = 1.0  # hybrid: i of a shunt film given, v of a series film given
        self.inputs = [self.nodes] + [self.nodes + film[0] for film in self.films]  # rows: EMF (branch 0), films
        self.resistive = not self.a1.any()

    def node(self):
        self.nodes += 1
        return self.nodes

    def add(self, kind, name, start, end, first=0.0, second=0.0):
        self.branches.append((kind, name, start, end, first, second))
        return len(self.branches) - 1

    def series(self, name, start, ohm, henry=0.0):
        if ohm == 0.0 and henry == 0.0:
            return start
        self.add("rl", name, start, end := self.node(), ohm, henry)
        return end

    def contact(self, contact, top, rail):
        """Adds a contact; returns the ends of the two rails behind it. In the return, its current runs from load to source."""
        film, role, halves = contact["film"], contact.get("role", "signal"), 1
        if film is None:
            return top, rail  # an open shunt
        contact = {**contact, "role": role, "constriction_ohm": contact.get("constriction_ohm", 0.0)}
        if role == "shunt":
            start, end, after = top, rail, (top, rail)
        elif role == "signal":
            start, end = top, self.node()
            after = (end, rail)
        else:
            halves = 2 if role == "shared_return" else 1  # v(2 i): half the conductance, twice the constriction
            start, end = self.node(), rail
            after = (top, start)
        name = "contact " + contact["name"]
        if film["law"] == "ohmic":
            ohm = halves * (film["resistance_ohm"] + contact["constriction_ohm"])
            self.ohmic.append((self.add("rl", name, start, end, ohm, 0.0), contact, halves))
        else:
            start = self.series("constriction " + contact["name"], start, halves * contact["constriction_ohm"])
            self.films.append((self.add("film", name, start, end), contact, halves, law(film, halves)))
        return after

    def answers(self, mode, omegas):
        """Unknowns (frequency, unknown, input) for one unit in each input row; one step of refinement."""
        a = self.a0[mode] + 1j * np.asarray(omegas)[:, None, None] * self.a1
        b = np.zeros((len(a), self.size, len(self.inputs)), complex)
        b[:, self.inputs, np.arange(len(self.inputs))] = 1.0
        scale = 1 / np.abs(a).max(axis=2, keepdims=True)
        a, b = a * scale, b * scale
        y = np.linalg.solve(a, b)
        return y + np.linalg.solve(a, b - a @ y)

    def voltage(self, y, start, end):
        return (y[:, start - 1] if start else 0.0) - (y[:, end - 1] if end else 0.0)

    def ports(self, y):
        """Voltage and current of each film, (frequency, film, ...)."""
        v = [self.voltage(y, *self.branches[b][2:4]) for b, *_ in self.films]
        return np.stack(v, axis=1), np.stack([y[:, self.nodes + b] for b, *_ in self.films], axis=1)


def motional(speaker):
    w0 = 2 * math.pi * speaker["resonance_hz"]
    res = speaker["voice_coil_ohm"] * speaker["mechanical_q"] / speaker["electrical_q"]
    return w0, res, speaker["mechanical_q"] / (w0 * res), res / (w0 * speaker["mechanical_q"])
