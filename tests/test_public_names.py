"""What `import blockfit` gives: every public name from its home, when it is first used."""

import ast
import pickle
import subprocess
import sys
from pathlib import Path

import pytest

import blockfit as bf


def _ran(code: str) -> str:
    return subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout.strip()


def test_every_public_name_is_there_and_no_other_is_meant():
    tree = ast.parse(Path(bf.__file__).read_text(encoding="utf-8"))
    named = {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert named - {"TYPE_CHECKING", "attached"} == set(bf.__all__)
    for name in bf.__all__:
        assert getattr(bf, name) is not None
    assert set(bf.__all__) <= set(dir(bf))


def test_a_name_is_never_a_module_by_accident():
    """A module of the package that has a public name would hide it as soon as it is imported."""
    rooms = {path.stem for path in Path(bf.__file__).parent.iterdir()}
    assert rooms & set(bf.__all__) == {"jobs"}
    assert bf.jobs.__name__ == "blockfit.jobs"


@pytest.mark.parametrize("name", ["jobs", "pictures", "survey", "Block", "STONES", "BadValueError"])
def test_a_name_is_found_when_it_is_the_first_that_is_asked_for(name):
    assert _ran(f"import blockfit; print(blockfit.{name} is not None)") == "True"
    assert _ran(f"from blockfit import {name} as found; print(found is not None)") == "True"


def test_importing_waits_for_nothing_heavy():
    loaded = _ran("import sys, blockfit; print(*(name for name in sys.modules if '.' not in name))").split()
    assert "blockfit" in loaded
    assert not {"numpy", "scipy", "trimesh", "igl", "manifold3d", "matplotlib", "click"} & set(loaded)


def test_a_star_import_and_a_module_behind_a_name_work():
    assert (
        _ran("from blockfit import *; print(largest.__module__, Block.__name__)") == "blockfit.search.choice.fit Block"
    )
    assert _ran("import blockfit; print(blockfit.pictures.__name__)") == "blockfit.sheets.pictures.drawings"
    assert pickle.loads(pickle.dumps(bf.Stance.upright(5))) == bf.Stance.upright(5)


def test_an_unknown_name_is_refused_as_python_does():
    with pytest.raises(AttributeError, match="module 'blockfit' has no attribute 'larges'"):
        bf.larges  # noqa: B018
    with pytest.raises(ImportError, match="cannot import name 'larges' from 'blockfit'"):
        exec("from blockfit import larges")
