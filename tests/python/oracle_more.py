"""The steady state with many digits (mpmath) and by integration in time (scipy), see oracle_network."""

import math

import numpy as np
from mpmath import mp
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from oracle_network import THERMAL_V, HEATING_V, EXPONENT_LIMIT, law, film_voltage, Network, motional
from oracle_newton import to_harmonics, emf_harmonics, harmonics_newton


def film_mp(film, u):
    """Whole current of a film and its slope, many digits, by the law as it stands."""
    shape, g, unit, share = film
    x = u / mp.mpf(unit)
    y = min(x, mp.mpf(EXPONENT_LIMIT)) if shape != "sinh" else max(min(x, mp.mpf(EXPONENT_LIMIT)), -mp.mpf(EXPONENT_LIMIT))
    if shape == "atan":
        value, slope = mp.atan(x), 1 / (1 + x * x)
    elif shape == "sinh":
        value, slope = mp.sinh(y) + mp.cosh(y) * (x - y), mp.cosh(y)
    else:
        value, slope = mp.exp(y) - 1 + mp.exp(y) * (x - y), mp.exp(y)
    return g * (mp.mpf(share) * unit * value + (1 - mp.mpf(share)) * u), g * (share * slope + 1 - mp.mpf(share))


def harmonics_mpmath(section, base_hz, tones=None, samples=45, harmonics=9, digits=40):
    """Load harmonics (list of mpc) with u + Z (i(u) - u/R) = u0 solved plainly at `samples` points; begins at the float answer.

    The solution is unique (every law rises, the network is passive), so where it begins decides nothing but the time.
    """
    old, mp.dps = mp.dps, digits + 20  # what plain differences lose
    try:
        net, n = Network(section), samples | 1
        k, m = len(net.films), n // 2
        films = [film[3] for film in net.films]
        ohm = [1 / mp.mpf(film[1]) for film in films]
        e = emf_harmonics(section, tones, m + 1)
        ports, loads = [], []
        a0, a1 = mp.matrix(net.a0["norton"].tolist()), mp.matrix(net.a1.tolist())
        for j, (b, *_) in enumerate(net.films):
            a0[net.nodes + b, net.nodes + b] = -ohm[j]  # R with all digits, where g was the rounded one

        def across(y, start, end):
            return (y[start - 1] if start else mp.mpf(0)) - (y[end - 1] if end else mp.mpf(0))

        for f in range(1 if net.resistive else m + 1):
            a = a0 + mp.mpc(0, 2 * mp.pi * mp.mpf(base_hz) * f) * a1
            port, load = [], []
            for row, unit in zip(net.inputs, [mp.mpf(1), *[-x for x in ohm]], strict=True):
                b = mp.zeros(net.size, 1)
                b[row] = unit
                y = mp.lu_solve(a, b)
                port.append([across(y, *net.branches[film[0]][2:4]) for film in net.films])
                load.append(across(y, net.top, net.rail))
            ports.append(port)
            loads.append(load)
        at = (lambda f: 0) if net.resistive else (lambda f: f)
        turn = [mp.expjpi(mp.mpf(2 * t) / n) for t in range(n)]
        root = [mp.sqrt(2) if f else mp.mpf(1) for f in range(m + 1)]
        emf = [mp.mpc(complex(x)) for x in e]
        wave = [[sum(mp.re(root[f] * emf[f] * ports[at(f)][0][j] * turn[f * t % n]) for f in range(m + 1) if emf[f]) for j in range(k)] for t in range(n)]
        rough = harmonics_newton(section, base_hz, tones, samples=n, most_samples=n)
        u = [[mp.mpf(float(rough["contacts"][film[1]["name"]]["film_voltage"][t])) for film in net.films] for t in range(n)]
        if not net.resistive:  # kernel[t][i][j]: film i's voltage t samples after an impulse of extra current in film j
            kernel = [[[mp.re(ports[0][1 + j][i] + 2 * sum(ports[f][1 + j][i] * turn[f * t % n] for f in range(1, m + 1))) / n
                        for j in range(k)] for i in range(k)] for t in range(n)]  # fmt: skip
        for _ in range(50):
            now = [[film_mp(films[j], u[t][j]) for j in range(k)] for t in range(n)]
            extra = [[now[t][j][0] - u[t][j] / ohm[j] for j in range(k)] for t in range(n)]
            slope = [[now[t][j][1] - 1 / ohm[j] for j in range(k)] for t in range(n)]
            largest = mp.mpf(0)
            groups = [[t] for t in range(n)] if net.resistive else [list(range(n))]  # instants that hang together
            for group in groups:
                size = len(group) * k
                jac, f = mp.eye(size), mp.zeros(size, 1)
                for a, t in enumerate(group):
                    for i in range(k):
                        f[a * k + i] = u[t][i] - wave[t][i]
                        for b, s in enumerate(group):
                            for j in range(k):
                                z = -mp.re(ports[0][1 + j][i]) if net.resistive else -kernel[(t - s) % n][i][j]
                                f[a * k + i] += z * extra[s][j]
                                jac[a * k + i, b * k + j] += z * slope[s][j]
                step = mp.lu_solve(jac, f)
                for a, t in enumerate(group):
                    for i in range(k):
                        u[t][i] -= step[a * k + i]
                        largest = max(largest, abs(step[a * k + i]))
            if largest <= mp.mpf(10) ** (-digits) * max(abs(x) for row in u for x in row):
                break
        else:
            raise ArithmeticError("mpmath Newton did not settle in 50 rounds")
        extra = [[film_mp(films[j], u[t][j])[0] - u[t][j] / ohm[j] for j in range(k)] for t in range(n)]
        return [emf[f] * loads[at(f)][0] + sum(loads[at(f)][1 + j] * root[f] / n * sum(extra[t][j] * mp.conj(turn[f * t % n]) for t in range(n))
                for j in range(k)) for f in range(min(harmonics, m) + 1)]  # fmt: skip
    finally:
        mp.dps = old


def film_current(film, u):
    """The laws once more, in plain scalars."""
    r = film["resistance_ohm"]
    if film["law"] == "ohmic":
        return u / r
    if film["law"] == "tunnelling":
        return film["scale_v"] / r * math.sinh(u / film["scale_v"])
    if film["law"] == "bridged":
        return HEATING_V / r * math.atan(u / HEATING_V)
    unit, leak = film["ideality"] * THERMAL_V, film["leak_ratio"]
    return (1 - leak) / r * unit * math.expm1(u / unit) + leak / r * u


def series_current(emf_v, ohm, film):
    """Current of an EMF behind a resistance through a film, by bracketing: a sign change in voltage, or in current."""
    if emf_v == 0.0:
        return 0.0
    unit = {"tunnelling": lambda: film["scale_v"], "rectifying": lambda: film["ideality"] * THERMAL_V}.get(film["law"], lambda: abs(emf_v))()
    end = math.copysign(min(abs(emf_v), 600 * unit), emf_v)
    u = brentq(lambda u: u + ohm * film_current(film, u) - emf_v, 0.0, end, xtol=1e-18, rtol=1e-15, maxiter=500)
    return film_current(film, u)


def film_voltage_at(film, i):
    """Film voltage at a current; a bridge has none from (pi/2) VT/R on."""
    r = film["resistance_ohm"]
    if film["law"] == "ohmic":
        return r * i
    if film["law"] == "tunnelling":
        return film["scale_v"] * math.asinh(r * i / film["scale_v"])
    if film["law"] == "bridged":
        return HEATING_V * math.tan(r * i / HEATING_V) if abs(r * i / HEATING_V) < 1.57 else math.copysign(math.inf, i)
    unit, leak = film["ideality"] * THERMAL_V, film["leak_ratio"]
    low, high = (i * r / leak, 0.0) if i < 0 else (0.0, unit * math.log1p(i * r / (unit * (1 - leak))) if leak < 1 else i * r)
    return brentq(lambda u: film_current(film, u) - i, 1.01 * low, 1.01 * high, xtol=1e-18, rtol=1e-15) if i else 0.0


def periodic_by_integration(section, base_hz, tones=None, harmonics=9, samples=512, tolerance=1e-11, method="LSODA", settle=3):
    """Load harmonics by integrating the state equations to a period that closes (shooting), for one series contact.

    Source R, L; series resistances; capacitors to the return before and behind the contact; a load R or a loudspeaker.
    States: i1 in the source's inductance, v1 before and v2 behind the contact, i2 in the voice coil, and the motional vm, im.
    """
    source, load, speaker = section["source"], section["load"], section["load"].get("loudspeaker")
    r1, l1, c1, c2, r_mid, contact = source["resistance_ohm"], source.get("inductance_h", 0.0), 0.0, load.get("capacitance_f", 0.0), 0.0, None
    for item in section["path"]:
        (kind, part), = item.items()
        if kind == "contact" and contact is None and part.get("role", "signal") in ("signal", "return", "shared_return"):
            contact = part
        elif kind == "lead" and part.get("inductance_h", 0.0) == 0.0:
            ohm, farad = part.get("resistance_ohm", 0.0), part.get("capacitance_f", 0.0)
            if (contact is None and c1 > 0 and ohm > 0) or (contact is not None and c2 > load.get("capacitance_f", 0.0) and ohm > 0):
                raise NotImplementedError("a resistance between two capacitors on one side of the contact")
            if contact is None:
                r1, c1 = r1 + ohm, c1 + farad
            else:
                r_mid, c2 = r_mid + ohm, c2 + farad
        else:
            raise NotImplementedError(f"{kind} in a section for integration")
    film = dict(contact["film"])
    both = 2.0 if contact.get("role") == "shared_return" else 1.0
    film["resistance_ohm"], r_mid = both * film["resistance_ohm"], r_mid + both * contact.get("constriction_ohm", 0.0)
    re, l2 = (speaker["voice_coil_ohm"], speaker.get("voice_coil_h", 0.0)) if speaker else (load["resistance_ohm"], 0.0)
    res, cm, lm = motional(speaker)[1:] if speaker else (1.0, 1.0, 1.0)
    period, omega = 1 / base_hz, 2 * math.pi * base_hz
    tones = tones or [(1, source["emf_v"])]
    left_i, right_i = l1 > 0 and c1 == 0, l2 > 0 and c2 == 0  # a current as state stands next to the contact

    def rates(t, x):
        """(d state/dt, load voltage)."""
        i1, v1, v2, i2, vm, im = x
        emf = sum(a.real if not h else math.sqrt(2) * (a * complex(math.cos(h * omega * t), math.sin(h * omega * t))).real for h, a in
                  ((h, complex(a)) for h, a in tones))  # fmt: skip
        if left_i or right_i:
            i = i1 if left_i else i2
            drop = r_mid * i + film_voltage_at(film, i)
        else:
            from_v, from_r = (v1, 0.0) if c1 > 0 else (emf, r1)
            to_v, to_r = (v2, 0.0) if c2 > 0 else (vm if speaker else 0.0, re)
            i = series_current(from_v - to_v, from_r + r_mid + to_r, film)
            drop = from_v - to_v - i * (from_r + to_r)
        back = vm if speaker else 0.0
        if left_i and right_i:  # one inductance in two parts
            d1 = d2 = (emf - r1 * i - drop - re * i - back) / (l1 + l2)
            out = re * i + l2 * d2 + back
        else:
            if c2 > 0:
                out = v2
            elif right_i:
                out = (v1 if c1 > 0 else emf - r1 * i) - drop
            else:
                out = re * i + back
            before = v1 if c1 > 0 else out + drop
            d1 = (emf - r1 * i1 - before) / l1 if l1 > 0 else 0.0
            d2 = (out - re * i2 - back) / l2 if l2 > 0 else 0.0
        into = i1 if l1 > 0 else (emf - v1) / r1 if c1 > 0 else i
        taken = i2 if l2 > 0 else (v2 - back) / re if c2 > 0 else i
        dv1 = (into - i) / c1 if c1 > 0 else 0.0
        dv2 = (i - taken) / c2 if c2 > 0 else 0.0
        return [d1, dv1, dv2, d2, *([(taken - im - vm / res) / cm, vm / lm] if speaker else [0.0, 0.0])], out

    active = [j for j, used in enumerate([l1 > 0, c1 > 0, c2 > 0, l2 > 0, speaker is not None, speaker is not None]) if used]
    if left_i and right_i:
        active.remove(3)  # i2 is i1

    def full(z):
        x = [0.0] * 6
        for j, value in zip(active, z, strict=True):
            x[j] = float(value)
        if left_i and right_i:
            x[3] = x[0]
        return x

    peak = sum(abs(a) for _, a in tones) * math.sqrt(2)
    ohm = [r1 + re + omega * l1 + omega * l2, 1.0, 1.0, re + r1, 1.0, max(lm * omega, 1e-3)]
    unit = np.array([peak / ohm[j] if j in (0, 3, 5) else peak for j in active])

    def run(z, start, end, t_eval=None):
        answer = solve_ivp(lambda t, s: np.array(rates(t, full(s * unit))[0])[active] / unit, (start, end), z, method=method,
                           rtol=tolerance, atol=tolerance * 1e-2, t_eval=t_eval, max_step=period / 50)  # fmt: skip
        if not answer.success:
            raise ArithmeticError(answer.message)
        return answer.y

    z = np.zeros(len(active))
    if active:
        z = run(z, 0.0, settle * period)[:, -1]
        for _ in range(12):
            end = run(z, 0.0, period)[:, -1]
            wrong = end - z
            if np.abs(wrong).max() < 30 * tolerance:
                break
            step = 1e-5  # relative to the drive: Newton on the map of one period
            turn = np.stack([(run(z + step * unit_vector, 0.0, period)[:, -1] - end) / step for unit_vector in np.eye(len(active))], axis=1)
            z = z - np.linalg.solve(turn - np.eye(len(active)), wrong)
        else:
            raise ArithmeticError("the period does not close")
    times = np.arange(samples) * period / samples
    states = run(z, 0.0, times[-1], times).T if active else np.zeros((samples, 0))
    return to_harmonics(np.array([rates(t, full(s * unit))[1] for t, s in zip(times, states, strict=True)]))[: harmonics + 1]
