"""Tolerances have names, and names have reasons: no small number stands bare in a function."""

import ast
import re
from pathlib import Path

import blockfit

ROOT = Path(str(blockfit.__file__)).parent
SMALL = re.compile(r"\d(\.\d+)?e-\d+")


def small_numbers(source: str) -> list[tuple[int, bool]]:
    """Return the line of each number written with a negative exponent, and whether it stands within a function.

    What an option takes where it is not given is no tolerance of ours: it stands in the docstring.
    """
    found: list[tuple[int, bool]] = []
    lines = [line.encode() for line in source.splitlines()]

    def walk(node: ast.AST, inside: bool) -> None:
        for field, value in ast.iter_fields(node):
            for child in value if isinstance(value, list) else [value]:
                if not isinstance(child, ast.AST):
                    continue
                if isinstance(node, ast.arguments) and field in ("defaults", "kw_defaults"):
                    continue
                if isinstance(child, ast.Constant) and isinstance(child.value, float):
                    text = lines[child.lineno - 1][child.col_offset : child.end_col_offset].decode()
                    if SMALL.fullmatch(text):
                        found.append((child.lineno, inside))
                walk(child, inside or isinstance(child, (ast.FunctionDef, ast.Lambda)))

    walk(ast.parse(source), False)
    return found


def is_reasoned(lines: list[str], number: int) -> bool:
    """Tell whether a constant's line, the one above it or the one after it say why."""
    after = lines[number] if number < len(lines) else ""
    return "#" in lines[number - 1] or lines[number - 2].startswith("#") or after.startswith('"""')


def test_no_small_number_stands_bare_in_a_function() -> None:
    bare = [
        f"{path.relative_to(ROOT)}:{line}"
        for path in sorted(ROOT.rglob("*.py"))
        for line, inside in small_numbers(path.read_text())
        if inside
    ]
    assert bare == []


def test_every_small_number_says_why() -> None:
    silent = []
    for path in sorted(ROOT.rglob("*.py")):
        source = path.read_text()
        lines = source.splitlines()
        silent += [
            f"{path.relative_to(ROOT)}:{line}" for line, _ in small_numbers(source) if not is_reasoned(lines, line)
        ]
    assert silent == []


def test_a_bare_number_would_be_found() -> None:
    source = "A = 1e-9\n\ndef f(x, gap=1e-5):\n    return x > 2.5e-3\n"
    assert small_numbers(source) == [(1, False), (4, True)]
    assert not is_reasoned(source.splitlines(), 1)
    assert not is_reasoned(["B = 1e-6", '"""Of a size."""', "A = 1e-9"], 3)  # the one before it says nothing of it


def test_one_name_has_one_value() -> None:
    """What two files name alike is alike, where it is no file's own (a name that begins with ``_``)."""
    values: dict[str, set[str]] = {}
    for path in sorted(ROOT.rglob("*.py")):
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                name = node.targets[0].id
                if name.isupper() and not name.startswith("_") and isinstance(node.value, ast.Constant):
                    values.setdefault(name, set()).add(repr(node.value.value))
    assert {name for name, several in values.items() if len(several) > 1} == set()
    assert "NOT_ZERO" in values
