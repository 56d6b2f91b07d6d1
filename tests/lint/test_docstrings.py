"""Public functions and classes of the pure packages say what comes out of them."""

import ast
from pathlib import Path

SOURCE = Path(__file__).parents[2] / "src" / "doffer"
PURE = ("tables", "fibre", "process", "planning", "pictures")


def silent(tree: ast.Module) -> list[str]:
    """Public names of a module without a docstring."""
    kinds = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef
    return [
        node.name
        for node in tree.body
        if isinstance(node, kinds) and not node.name.startswith("_") and not ast.get_docstring(node)
    ]


def test_public_names_of_the_pure_packages_have_docstrings():
    missing = [
        f"{package}/{path.name}: {name}"
        for package in PURE
        for path in sorted((SOURCE / package).rglob("*.py"))
        for name in silent(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert missing == []


def test_every_module_says_what_it_is_for():
    missing = [
        path.relative_to(SOURCE).as_posix()
        for path in sorted(SOURCE.rglob("*.py"))
        if "migrations" not in path.parts
        and path.read_text(encoding="utf-8").strip()
        and not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert missing == []


def test_a_silent_function_is_found():
    assert silent(
        ast.parse("def talk():\n    'x'\ndef mute():\n    return 1\ndef _own():\n    return 1")
    ) == ["mute"]
