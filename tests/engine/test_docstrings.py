"""Every public name of the engine says what it takes, gives, refuses, computes, and from where."""

import inspect
import re
from dataclasses import is_dataclass

import pytest

from curves import engine

RESULTS = {  # made by a function that tells equation and source
    "Calibration",
    "Feasibility",
    "Knees",
    "Forecast",
    "Proposal",
    "Proposals",
    "Verdict",
    "WantedSpring",
}
MAKERS = {"four_stroke", "two_stroke", "crank_speed"}  # a name each, nothing to take or to refuse


def sections(thing):
    """Give the titles of a NumPy docstring's sections."""
    return set(re.findall(r"^(\w[\w ]*)\n-{3,}$", inspect.getdoc(thing), re.MULTILINE))


def public_classes():
    return [name for name in engine.__all__ if inspect.isclass(getattr(engine, name))]


def public_methods():
    """Give every public method that a class defines itself, as (class, method)."""
    for name in public_classes():
        for method, value in vars(getattr(engine, name)).items():
            plain = value.__func__ if isinstance(value, classmethod) else value
            if inspect.isfunction(plain) and not method.startswith("_") and method not in MAKERS:
                yield pytest.param(plain, id=f"{name}.{method}")


@pytest.mark.parametrize("name", [name for name in engine.__all__ if name not in public_classes()])
def test_a_function_has_every_section(name):
    missing = {"Parameters", "Returns", "Raises", "Notes", "References", "Examples"} - sections(
        getattr(engine, name)
    )
    assert not missing


@pytest.mark.parametrize("name", public_classes())
def test_a_class_has_its_sections(name):
    found = sections(getattr(engine, name))
    assert "Examples" in found
    wanted = {"Attributes"} if name in RESULTS else {"Parameters", "Raises", "Notes", "References"}
    assert not wanted - found


@pytest.mark.parametrize("method", list(public_methods()))
def test_a_method_says_what_it_takes_gives_and_refuses(method):
    missing = {"Returns", "Examples"} - sections(method)
    if len(inspect.signature(method).parameters) > 1:
        missing |= {"Parameters", "Raises"} - sections(method)
    assert not missing


@pytest.mark.parametrize("name", sorted(RESULTS))
def test_a_result_names_each_of_its_attributes(name):
    kind = getattr(engine, name)
    assert is_dataclass(kind)
    doc = inspect.getdoc(kind)
    inner = {"fitted", "model"}  # what draws and corrected springs are made of
    for field in kind.__dataclass_fields__:
        if not field.startswith("_") and field not in inner:
            assert re.search(rf"^[\w, ]*\b{field}\b[\w, ]* : ", doc, re.MULTILINE), field


@pytest.mark.parametrize("name", engine.__all__)
def test_an_example_is_one_that_runs(name):
    assert ">>> " in inspect.getdoc(getattr(engine, name))
