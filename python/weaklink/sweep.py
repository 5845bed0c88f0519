"""Sweeps: a system computed over any axes that the caller names, as a labelled dataset. Needs xarray when called.

Each output has every axis; each method that can fail leaves its status per point beside its outputs.
"""

from __future__ import annotations

import itertools
import json
import math
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ._core import TYPICAL_VERSION, Chain, Section, __version__
from .extras import bad_input, needs
from .sweep_axes import Axis, changed, read_axes, unit_of

if TYPE_CHECKING:
    from typing import TypeAlias

    import xarray

    _System: TypeAlias = Section | Chain
    _Progress: TypeAlias = bool | Callable[[int, int], None] | None

__all__ = ["OUTPUTS", "Output", "sweep"]


@dataclass(frozen=True)
class Output:
    """One output: the method that it comes from, its field there, unit and meaning."""

    method: str
    field: str
    units: str
    meaning: str


# the one table of outputs; a method that has a status leaves it as <method>_status
OUTPUTS: dict[str, Output] = {
    "transfer": Output("transfer", "", "1", "load voltage over EMF, complex"),
    "gain_db": Output("transfer", "gain_db", "dB", "load voltage over EMF"),
    "loss_db": Output("loss", "", "dB", "loss against perfect contacts, positive is quieter"),
    "crosstalk_db": Output("crosstalk", "", "dB", "silent channel over the driven one"),
    "damping_factor": Output("damping", "", "1", "nominal load over what it looks back into"),
    "response_change_db": Output("response_change", "", "dB", "largest minus smallest loss over the band"),
    "johnson_v": Output("johnson", "", "V", "Johnson noise at the output in the band, rms"),
    "thd_f": Output("distortion", "thd_f", "1", "total harmonic distortion over the fundamental"),
    "thd_r": Output("distortion", "thd_r", "1", "total harmonic distortion over the total"),
    "harmonics": Output("distortion", "harmonics", "1", "complex harmonics over the fundamental"),
    "fundamental_db": Output("distortion", "fundamental_db", "dB", "fundamental against films at their zero-voltage resistance"),
    "thd_error_bound": Output("distortion", "error_bound", "1", "bound of the error of thd_f"),
    "leading_harmonic": Output("signature", "order", "1", "order of the largest harmonic, 0 for none"),
    "slope_with_level": Output("signature", "slope", "1", "d ln thd_f / d ln emf_v"),
    "d2": Output("two_tone", "d2", "1", "second-order products of two tones, IEC 60268-3"),
    "d3": Output("two_tone", "d3", "1", "third-order products of two tones, IEC 60268-3"),
    "two_tone_rms": Output("two_tone", "rms", "1", "all products of two tones"),
    "ceiling_harmonics": Output("ceiling", "harmonics", "1", "most residue of any steady film"),
    "ceiling_chatter": Output("ceiling", "chatter", "1", "most residue of any contact"),
    "loss_low_db": Output("loss_range", "low_db", "dB", "least loss of any contacts in their ranges"),
    "loss_high_db": Output("loss_range", "high_db", "dB", "greatest loss of any contacts in their ranges"),
    "residue_total": Output("residue", "total", "1", "harmonics, chatter and noise over the tone"),
    "residue_harmonics": Output("residue", "harmonics", "1", "harmonics in the band over the tone"),
    "residue_chatter": Output("residue", "chatter", "1", "chatter in the band over the tone"),
    "residue_johnson": Output("residue", "johnson", "1", "Johnson noise in the band over the tone"),
    "residue_contact_noise": Output("residue", "contact_noise", "1", "1/f noise of contacts in the band over the tone"),
}
WITH_STATUS = ("distortion", "signature", "two_tone", "ceiling", "loss_range", "residue")
# points computed in one call, between which progress is told
PIECE = {"distortion": 400, "signature": 200, "two_tone": 100, "residue": 400, "ceiling": 20_000}
MOST_POINTS = 100_000


@dataclass(frozen=True)
class _Settings:
    """What does not move; values of ranges, chatter and flicker may be names of axes."""

    frequency_hz: float
    band_hz: tuple[float, float]
    ranges: Mapping[str, tuple[Any, Any]] | None
    chatter: Mapping[str, tuple[Any, Any, Any, Any]] | None
    flicker: Mapping[str, Any] | None
    tones_hz: tuple[float, float]
    tone_ratio: float
    weighting: Any
    harmonics: int


def _call(method: str, system: _System, axes: Sequence[Axis], held: Sequence[Axis], s: _Settings) -> Any:
    """One method on arrays: each moving axis stands along its own dimension."""
    import numpy as np

    rank = len(axes)
    at: dict[str, Any] = {axis.name: float(axis.values[0]) for axis in held if axis.values.dtype.kind == "f"}
    for place, axis in enumerate(axes):
        at[axis.name] = np.reshape(axis.values, [-1 if k == place else 1 for k in range(rank)])
    by_kind = {axis.kind: at[axis.name] for axis in axes}
    contacts = {axis.element: at[axis.name] for axis in axes if axis.kind == "contact"} or None
    frequency, emf = by_kind.get("frequency", s.frequency_hz), by_kind.get("level")

    def filled(given: Mapping[str, Any] | None) -> dict[str, Any] | None:
        if given is None:
            return None

        def one(value: Any) -> Any:
            return tuple(one(v) for v in value) if isinstance(value, tuple) else at[value] if isinstance(value, str) else value

        return {name: one(value) for name, value in given.items()}

    if method == "transfer":
        return system.transfer(frequency, contacts=contacts)
    if method == "loss":
        return system.loss_db(frequency, contacts=contacts)
    if method == "crosstalk":
        return system.crosstalk_db(frequency, contacts=contacts)
    if method == "damping":
        return system.damping_factor(frequency, contacts=contacts)
    if method == "response_change":
        return system.response_change_db(contacts=contacts, band_hz=s.band_hz)
    if method == "johnson":
        return system.johnson_v(contacts=contacts, band_hz=s.band_hz, weighting=s.weighting)
    if method == "distortion":
        return system.distortion(frequency, emf_v=emf, contacts=contacts, harmonics=s.harmonics)
    if method == "signature":
        return system.signature(frequency, emf_v=emf, contacts=contacts)
    if method == "two_tone":
        low, high = s.tones_hz
        return system.two_tone(low, high, ratio=s.tone_ratio, emf_v=emf, contacts=contacts)
    if method == "ceiling":
        return system.ceiling(frequency, ranges=filled(s.ranges), emf_v=emf, contacts=contacts, band_hz=s.band_hz)
    if method == "loss_range":
        return system.loss_range_db(frequency, ranges=filled(s.ranges) or {}, contacts=contacts)
    more: dict[str, Any] = {"chatter": filled(s.chatter), "flicker": filled(s.flicker)}
    return system.residue(frequency, emf_v=emf, contacts=contacts, band_hz=s.band_hz, weighting=s.weighting, **more)


def _field(answer: Any, output: Output) -> Any:
    import numpy as np

    if output.field == "gain_db":
        return 20.0 * np.log10(np.abs(np.asarray(answer)))
    return getattr(answer, output.field) if output.field else answer


def _dtype(name: str) -> str:
    return "complex128" if name in ("transfer", "harmonics") else "float64"


def _pieces(axes: Sequence[Axis], most: int) -> Iterator[tuple[slice, ...]]:
    """Slices along the axes that cut the grid into pieces of at most so many points."""
    left = most
    steps: list[int] = []
    # whole along the last axes, cut along the first
    for axis in reversed(axes):
        step = max(1, min(len(axis), left))
        steps.append(step)
        left = max(1, left // step)
    cuts = [
        [slice(k, min(k + step, len(axis))) for k in range(0, len(axis), step)]
        for axis, step in zip(axes, reversed(steps), strict=True)
    ]
    yield from itertools.product(*cuts)


def _computed(
    system: _System, axes: Sequence[Axis], outputs: Sequence[str], s: _Settings, tell: Callable[[int, int], None] | None
) -> dict[str, Any]:
    """All outputs on the grid of the axes, and the statuses, as arrays."""
    import numpy as np

    shape = tuple(len(axis) for axis in axes)
    methods = list(dict.fromkeys(OUTPUTS[name].method for name in outputs))
    made = [place for place, axis in enumerate(axes) if axis.kind == "element"]
    moving = [place for place in range(len(axes)) if place not in made]
    out: dict[str, Any] = {}
    for name in outputs:
        extra = (s.harmonics,) if name == "harmonics" else ()
        out[name] = np.full(shape + extra, np.nan, dtype=_dtype(name))
    for method in methods:
        if method in WITH_STATUS:
            out[f"{method}_status"] = np.full(shape, "", dtype="<U24")
    total = math.prod(shape) * len(methods)
    done = 0
    for held in itertools.product(*(range(len(axes[place])) for place in made)):
        here = system
        for place, index in zip(made, held, strict=True):
            here = changed(here, axes[place], axes[place].values[index])
        fixed = [axes[place].piece(slice(index, index + 1)) for place, index in zip(made, held, strict=True)]
        for method in methods:
            for cut in _pieces([axes[place] for place in moving], PIECE.get(method, MOST_POINTS)):
                part = [axes[place].piece(where) for place, where in zip(moving, cut, strict=True)]
                answer = _call(method, here, part, fixed, s)
                where: list[Any] = [slice(None)] * len(axes)
                for place, index in zip(made, held, strict=True):
                    where[place] = index
                for place, piece in zip(moving, cut, strict=True):
                    where[place] = piece
                for name in outputs:
                    if OUTPUTS[name].method == method:
                        out[name][tuple(where)] = _field(answer, OUTPUTS[name])
                if method in WITH_STATUS:
                    out[f"{method}_status"][tuple(where)] = answer.status
                done += math.prod(len(axis) for axis in part)
                if tell is not None:
                    tell(done, total)
    return out


def _lazy(system: _System, axes: Sequence[Axis], outputs: Sequence[str], s: _Settings, names: Sequence[str]) -> dict[str, Any]:
    """The same as arrays of dask, one piece for each piece of the axes; nothing is computed yet."""
    dask = needs("dask", "a lazily chunked axis")
    array = needs("dask.array", "a lazily chunked axis")
    cuts = []
    for axis in axes:
        ends = list(itertools.accumulate(axis.chunks or (len(axis),)))
        cuts.append([slice(end - length, end) for end, length in zip(ends, axis.chunks or (len(axis),), strict=True)])
    job = dask.delayed(_computed, pure=False)

    def nest(level: int, where: tuple[slice, ...]) -> dict[str, Any]:
        if level < len(axes):
            below = [nest(level + 1, (*where, cut)) for cut in cuts[level]]
            return {name: [each[name] for each in below] for name in names}
        piece = [axis.piece(cut) for axis, cut in zip(axes, where, strict=True)]
        done = job(system, piece, outputs, s, None)
        shape = tuple(len(axis) for axis in piece)

        def one(name: str) -> Any:
            extra = (s.harmonics,) if name == "harmonics" else ()
            dtype = "<U24" if name.endswith("_status") else _dtype(name)
            return array.from_delayed(done[name], shape + extra, dtype=dtype)

        return {name: one(name) for name in names}

    def joined(nested: Any, level: int) -> Any:
        if level == len(axes):
            return nested
        return array.concatenate([joined(each, level + 1) for each in nested], axis=level)

    return {name: joined(nested, 0) for name, nested in nest(0, ()).items()}


def _bar(done: int, total: int) -> None:
    """One line on standard error, and only where somebody watches."""
    if sys.stderr.isatty():
        full = 30 * done // total
        sys.stderr.write(f"\r\033[K[{'#' * full}{'.' * (30 - full)}] {100 * done // total} %" + ("\n" if done == total else ""))
        sys.stderr.flush()


def _check_names(given: Mapping[str, Any] | None, place: str, axes: Sequence[Axis]) -> None:
    """Names of axes that stand in for numbers in ranges, chatter and flicker."""
    from numbers import Real

    known = {axis.name for axis in axes if axis.values.dtype.kind == "f"}
    for contact, value in (given or {}).items():
        for item in value if isinstance(value, tuple) else (value,):
            if item not in known if isinstance(item, str) else not isinstance(item, Real):
                allowed = f"allowed: a number, or an axis of numbers: {', '.join(known)}"
                raise bad_input(f'{place}["{contact}"]', repr(item), allowed)


def sweep(
    system: _System,
    axes: Mapping[str, Any] | Iterable[tuple[str, Any]],
    outputs: str | Sequence[str],
    *,
    frequency_hz: float = 1000.0,
    band_hz: tuple[float, float] = (20.0, 20000.0),
    ranges: Mapping[str, tuple[Any, Any]] | None = None,
    chatter: Mapping[str, tuple[Any, Any, Any, Any]] | None = None,
    flicker: Mapping[str, Any] | None = None,
    tones_hz: tuple[float, float] = (19e3, 20e3),
    tone_ratio: float = 1.0,
    weighting: str = "none",
    harmonics: int = 10,
    progress: _Progress = None,
) -> xarray.Dataset:
    """Computes a section or chain over the grid of all axes; every variable of the dataset has every axis as a dimension.

    axes: name to values, or name to (target, values) where the name is your own. Targets: "frequency_hz" (Hz), "emf_v" (first source's EMF,
    V rms), "element.parameter" of anything in the system ("relay.resistance_ohm", "relay.scale_v", "load.capacitance_f", "lead 1.inductance_h",
    "volume.setting_db", "phono stage.gain_db"; several sections: "phono input / load.resistance_ohm"). Values: one dimension of numbers, each
    once; for a parameter that is no number (a film) a mapping label to value: {"law": ("relay.film", {"rust": Film...})}. Values from dask (or a
    DataArray of them) are cut as they are: the dataset is lazy then.

    outputs: names out of OUTPUTS. Methods that can fail leave "<method>_status" per point as well.
    frequency_hz, band_hz, ranges, chatter, flicker, weighting: as the methods of Section take them, for what is no axis; in ranges, chatter and
    flicker the name of an axis stands for its values: ranges={"relay": (0.0, "R")}. tones_hz, tone_ratio: of two_tone. harmonics: how many.
    progress: None a bar on standard error if that is a terminal, False nothing, or called with (points done, all points).

    attrs carry version, version of the typical values, seed ("none": nothing is drawn here) and the system as JSON; variables carry units.
    Raises InputError: unknown target or output, an empty axis, a name, value or target twice; ModuleNotFoundError without xarray.
    """
    xr = needs("xarray", "wl.sweep")
    import numpy as np

    read = read_axes(system, axes)
    wanted = [outputs] if isinstance(outputs, str) else list(outputs)
    if not wanted:
        raise bad_input("outputs", "none", f"allowed: {', '.join(OUTPUTS)}")
    for name in wanted:
        if name not in OUTPUTS:
            from difflib import get_close_matches

            near = get_close_matches(name, OUTPUTS, 1)
            hint = f'; nearest: "{near[0]}"' if near else ""
            raise bad_input("outputs", f'"{name}"', f"allowed: {', '.join(OUTPUTS)}{hint}")
        if wanted.count(name) > 1:
            raise bad_input("outputs", f'"{name}" twice', "allowed: each once")
    methods = list(dict.fromkeys(OUTPUTS[name].method for name in wanted))
    names = [*wanted, *(f"{method}_status" for method in methods if method in WITH_STATUS)]
    for axis in read:
        if axis.name in names or (axis.name == "order" and "harmonics" in wanted):
            raise bad_input(f'axes["{axis.name}"]', "the name of an output", "allowed: another name")
    for given, place in ((ranges, "ranges"), (chatter, "chatter"), (flicker, "flicker")):
        _check_names(given, place, read)
    if "loss_range" in methods and not ranges:
        raise bad_input("ranges", "none", "allowed: name to (low, high) ohm; loss_low_db and loss_high_db take them")
    if not (isinstance(harmonics, int) and 1 <= harmonics <= 1000):
        raise bad_input("harmonics", harmonics, "allowed: 1 to 1000")
    s = _Settings(frequency_hz, band_hz, ranges, chatter, flicker, tones_hz, tone_ratio, weighting, harmonics)
    if any(axis.chunks for axis in read):
        arrays = _lazy(system, read, wanted, s, names)
    else:
        tell = _bar if progress is None or progress is True else progress or None
        arrays = _computed(system, read, wanted, s, tell)
    dims = [axis.name for axis in read]
    coords: dict[str, Any] = {}
    for axis in read:
        text = axis.labels.dtype.kind == "U"
        about = {"target": axis.target} if text else {"target": axis.target, "units": unit_of(axis.target)}
        coords[axis.name] = ([axis.name], axis.labels, about)
    if "harmonics" in wanted:
        coords["order"] = (["order"], np.arange(2, 2 + harmonics), {"long_name": "order of the harmonic"})
    variables: dict[str, Any] = {}
    for name, array in arrays.items():
        if name in OUTPUTS:
            about = {"units": OUTPUTS[name].units, "long_name": OUTPUTS[name].meaning}
        else:
            about = {"long_name": f"status of {name.removesuffix('_status')}"}
        variables[name] = ([*dims, "order"] if name == "harmonics" else dims, array, about)
    held = {"frequency_hz": frequency_hz} if not any(axis.kind == "frequency" for axis in read) else {}
    if "two_tone" in methods:
        held |= {"low_tone_hz": tones_hz[0], "high_tone_hz": tones_hz[1], "tone_ratio": tone_ratio}
    made_by = {
        "weaklink_version": __version__,
        "typical_version": TYPICAL_VERSION,
        "seed": "none",
        "system": json.dumps(system.to_dict()),
        "ranges": json.dumps({name: list(value) for name, value in (ranges or {}).items()}, default=float),
        "chatter": json.dumps({name: list(value) for name, value in (chatter or {}).items()}, default=float),
        "flicker": json.dumps(dict(flicker or {}), default=float),
        "band_low_hz": float(band_hz[0]),
        "band_high_hz": float(band_hz[1]),
        "weighting": weighting,
        "conventions": "SI; rms of a sine; EMF is open circuit; loss positive for quieter; ratios to the fundamental; exp(+j omega t)",
    }
    found: xarray.Dataset = xr.Dataset(variables, coords=coords, attrs={**made_by, **held})
    return found
