"""What ``help`` and a notebook show is what the stub tells: one text, in one place."""

import ast
import inspect
import re
from pathlib import Path

import pytest

import weaklink
from weaklink import _core

STUB = Path(weaklink.__file__).parent / "_core.pyi"


def told():
    """Docstrings of the stub by ``Class.member``; a class has those of its bases too."""
    # Python 3.11 has no type statement
    text = re.sub(r"^type (\w+) =", r"\1 =", STUB.read_text(encoding="utf-8"), flags=re.M)
    classes = {node.name: node for node in ast.parse(text).body if isinstance(node, ast.ClassDef)}
    functions = [node for node in ast.parse(text).body if isinstance(node, ast.FunctionDef)]

    def members(name):
        found = {}
        for base in classes[name].bases:
            found |= members(base.id) if base.id in classes else {}
        return found | {f.name: ast.get_docstring(f) for f in classes[name].body if isinstance(f, ast.FunctionDef)}

    found = {node.name: ast.get_docstring(node) for node in [*functions, *classes.values()]}
    return found | {f"{name}.{member}": text for name in classes for member, text in members(name).items()}


def shown():
    """What comes from the compiled part: every public name of the three modules, and every public member of its classes."""
    found = {}
    for module in (weaklink, weaklink.physics, weaklink.hearing):
        for name, thing in vars(module).items():
            if name.startswith("_") or getattr(_core, name, None) is not thing or not callable(thing):
                continue
            found[name] = thing
            if inspect.isclass(thing) and not issubclass(thing, Exception):
                found |= {f"{name}.{k}": getattr(thing, k) for k in vars(thing) if not k.startswith("_")}
    return found


TOLD, SHOWN = told(), shown()


def test_there_is_much_to_show():
    assert len(SHOWN) > 200
    assert {"Section", "Section.two_tone", "Section.to_dict", "Film.ohmic", "Attack.ohm", "try_ceiling", "InputError"} <= SHOWN.keys()


# sorted: every worker must collect the same, and a class lists what it holds in no order
@pytest.mark.parametrize("name", sorted(SHOWN))
def test_it_says_what_the_stub_says(name):
    text = SHOWN[name].__doc__
    assert text and text.strip()
    assert inspect.cleandoc(text) == inspect.cleandoc(TOLD[name] or "")


def test_signatures_stay():
    assert str(inspect.signature(weaklink.Source)) == "(*, emf_v, resistance_ohm=0.0, inductance_h=0.0)"
    assert str(inspect.signature(weaklink.Section.two_tone)) == "(self, /, low_hz, high_hz, *, ratio=4.0, emf_v=None, contacts=None)"
