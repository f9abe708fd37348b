"""What is said to people: the page and the docstrings are true, every public name has help, the types are there."""

from __future__ import annotations

import doctest
import importlib.metadata
import inspect
import io
import pydoc
from pathlib import Path

import pytest
from conftest import ROOT

import skewstar

FLAGS = doctest.NORMALIZE_WHITESPACE


def test_every_example_of_the_page_holds() -> None:
    result = doctest.testfile(str(ROOT / "src" / "python" / "README.md"), module_relative=False, optionflags=FLAGS)
    assert result.failed == 0 and result.attempted > 30


def test_every_example_of_a_docstring_holds() -> None:
    finder, runner = doctest.DocTestFinder(), doctest.DocTestRunner(optionflags=FLAGS)
    for name in skewstar.__all__:
        for test in finder.find(getattr(skewstar, name), name, module=False, globs={}):
            said = io.StringIO()
            assert runner.run(test, out=said.write).failed == 0, said.getvalue()
    assert runner.tries > 5


@pytest.mark.parametrize("name", [name for name in skewstar.__all__ if name != "__version__"])
def test_help_says_what_goes_in_and_what_comes_out(name: str) -> None:
    thing = getattr(skewstar, name)
    words = pydoc.plain(pydoc.render_doc(thing))
    assert inspect.getdoc(thing) and "Args:" in words or "Attributes:" in words
    if inspect.isfunction(thing):
        for section in ("Args:", "Raises:"):
            assert section in words, section
        for argument in inspect.signature(thing).parameters:
            assert f"{argument}:" in words, argument
        assert all(p.annotation is not inspect.Parameter.empty for p in inspect.signature(thing).parameters.values())


def test_the_contract_of_signatures_holds() -> None:
    def names(thing: object) -> list[str]:
        parameters = inspect.signature(thing).parameters.values()  # type: ignore[arg-type]
        return [p.name for p in parameters if p.kind is p.POSITIONAL_OR_KEYWORD]

    assert names(skewstar.render) == ["scenario", "set", "seed"]
    assert names(skewstar.measure) == ["image", "instrument", "side", "mask", "second", "response", "at", "temperature"]
    assert names(skewstar.Dataset) == ["recipe", "count", "start", "secret"]


def test_the_module_names_what_is_in_it() -> None:
    assert skewstar.__doc__ is not None
    for name in ("render", "measure", "learn", "check", "mask_preview", "field", "Dataset", "Error"):
        assert f"`{name}`" in skewstar.__doc__
    installed = Path(inspect.getfile(skewstar)).parent
    assert (installed / "py.typed").exists() and (installed / "_native.pyi").exists()
    assert ROOT not in installed.parents or "site-packages" in installed.parts  # the wheel, not the sources
    assert importlib.metadata.version("skewstar") == skewstar.__version__
