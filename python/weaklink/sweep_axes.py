"""Axes of a sweep: which parameter of which element each one moves, and its values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

from ._core import Chain, Section
from .extras import bad_input

if TYPE_CHECKING:
    from typing import TypeAlias

    _System: TypeAlias = Section | Chain

# by the ending of a name, longest first
UNITS = {"_ohm": "ohm", "_hz": "Hz", "_db": "dB", "_v": "V", "_a": "A", "_h": "H", "_f": "F", "_s": "s"}


def unit_of(name: str) -> str:
    """Unit that a name ends in; "1" for none."""
    return next((unit for ending, unit in UNITS.items() if name.endswith(ending)), "1")


@dataclass(frozen=True)
class Axis:
    """One axis: its name, what it moves, its values, and what stands along it in the dataset.

    kind: "frequency", "level", "contact" (all three pass to the core as arrays) or "element" (the system is made anew for each value).
    chunks: lengths of the pieces where the values came lazily, else empty.
    """

    name: str
    target: str
    kind: str
    element: str
    key: str
    values: Any
    labels: Any
    chunks: tuple[int, ...] = ()

    def __len__(self) -> int:
        return len(self.labels)

    def piece(self, where: slice) -> Axis:
        """The same axis, a piece of it."""
        return replace(self, values=self.values[where], labels=self.labels[where], chunks=())


def elements(data: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Every element of a system's dict by the name that a sweep calls it, as the dict that can be changed in place.

    Contacts, controls and stages by their own names; "source", "load", "lead 1", "lead 2"; in a chain of several sections the loads and
    leads as "section / load". A single lead is also "lead".
    """
    links: list[dict[str, Any]] = data["items"] if "items" in data else [{"section": data}]
    sections = [link["section"] for link in links if "section" in link]
    found: dict[str, dict[str, Any]] = {}
    for link in links:
        if "stage" in link:
            found[link["stage"]["name"]] = link["stage"]
            continue
        section = link["section"]
        before = f"{section['name']} / " if len(sections) > 1 else ""
        if section["source"] is not None:
            found["source"] = section["source"]
        leads = [item["lead"] for item in section["path"] if "lead" in item]
        for number, lead in enumerate(leads, 1):
            found[f"{before}lead {number}"] = lead
        if len(leads) == 1:
            found[f"{before}lead"] = leads[0]
        for item in section["path"]:
            if "contact" in item:
                found[item["contact"]["name"]] = item["contact"]
            if "divider" in item:
                found[item["divider"]["name"]] = item["divider"]
                if item["divider"].get("wiper"):
                    found[item["divider"]["wiper"]["name"]] = item["divider"]["wiper"]
        found[f"{before}load"] = section["load"]
    return found


def _holder(element: dict[str, Any], key: str) -> dict[str, Any] | None:
    """The dict in which a key stands: the element itself, its film, or its loudspeaker."""
    if key in element and key not in ("name", "role", "wiper"):
        return element
    inner = [element.get(part) for part in ("film", "loudspeaker")]
    return next((part for part in inner if isinstance(part, dict) and key in part and key != "law"), None)


def changed(system: _System, axis: Axis, value: Any) -> _System:
    """A copy of the system with one parameter of one element changed."""
    data = system.to_dict()
    holder = _holder(elements(data)[axis.element], axis.key)
    assert holder is not None
    holder[axis.key] = value.to_dict() if hasattr(value, "to_dict") else value.item() if hasattr(value, "item") else value
    return type(system).from_dict(data)


def _keys(element: Mapping[str, Any]) -> list[str]:
    own = [key for key in element if key not in ("name", "role", "wiper", "law")]
    inner = [key for part in ("film", "loudspeaker") for key in (element.get(part) or {}) if key not in ("law", *own)]
    return [key for key in [*own, *inner] if key != "loudspeaker"]


def _aim(system: _System, place: str, target: str) -> tuple[str, str, str]:
    """Kind, element and key of a target."""
    if target == "frequency_hz":
        return "frequency", "", target
    if target in ("emf_v", "source.emf_v"):
        return "level", "source", "emf_v"
    known = elements(system.to_dict())
    element, _, key = target.rpartition(".")
    if element not in known:
        near = get_close_matches(element or target, known, 1)
        hint = f'; nearest: "{near[0]}"' if near else ""
        allowed = f'allowed: frequency_hz, emf_v, or "element.parameter" of {", ".join(known)}{hint}'
        raise bad_input(place, f'"{target}"', allowed)
    if key == "resistance_ohm" and element in system.contact_names:
        return "contact", element, key
    if _holder(known[element], key) is None:
        keys = _keys(known[element])
        near = get_close_matches(key, keys, 1)
        hint = f'; nearest: "{near[0]}"' if near else ""
        raise bad_input(place, f'"{target}"', f'allowed of "{element}": {", ".join(keys)}{hint}')
    return "element", element, key


def _values(place: str, given: Any, kind: str) -> tuple[Any, Any, tuple[int, ...]]:
    """Values, labels and lengths of lazy pieces."""
    import numpy as np

    if isinstance(given, Mapping):
        if kind != "element":
            raise bad_input(place, "a mapping", "allowed: a list of numbers; labels go with parameters of an element")
        values = np.empty(len(given), dtype=object)
        values[:] = list(given.values())
        return values, np.array([str(label) for label in given], dtype=np.str_), ()
    inner = getattr(given, "data", given) if hasattr(given, "dims") else given
    chunks = getattr(inner, "chunks", None) or ()
    array = np.asarray(inner)
    if array.ndim == 0:
        array = array[None]
    if array.ndim != 1:
        raise bad_input(place, f"an array of shape {array.shape}", "allowed: one dimension")
    if array.dtype.kind in "iufb":
        array = array.astype(np.float64)
    elif kind != "element":
        raise bad_input(place, f"values of type {array.dtype}", "allowed: real numbers")
    if array.dtype == object:
        named = [getattr(value, "law", None) or str(value) for value in array]
        return array, np.array(named, dtype=np.str_), ()
    return array, array, tuple(chunks[0]) if chunks else ()


def read_axes(system: _System, axes: Mapping[str, Any] | Iterable[tuple[str, Any]]) -> list[Axis]:
    """Checks what the caller named; raises InputError."""
    pairs = list(axes.items()) if isinstance(axes, Mapping) else list(axes)
    if not pairs:
        raise bad_input("axes", "none", "allowed: one at least, name to values or name to (target, values)")
    out: list[Axis] = []
    for name, given in pairs:
        place = f'axes["{name}"]'
        if any(axis.name == name for axis in out):
            raise bad_input("axes", f'"{name}" twice', "allowed: each name once")
        target, values = name, given
        if isinstance(given, tuple) and len(given) == 2 and isinstance(given[0], str):
            target, values = given
        kind, element, key = _aim(system, place, target)
        numbers, labels, chunks = _values(place, values, kind)
        axis = Axis(name, target, kind, element, key, numbers, labels, chunks)
        if len(axis) == 0:
            raise bad_input(place, "no values", "allowed: one at least")
        if len(set(labels.tolist())) < len(labels):
            raise bad_input(place, "a value or label twice", "allowed: each once")
        for other in out:
            if (other.kind, other.element, other.key) == (kind, element, key):
                raise bad_input(place, f'moves "{target}"', f'allowed: what axes["{other.name}"] does not move already')
        out.append(axis)
    return out
