"""A test that asserts nothing cannot fail and is no test."""

import ast
from pathlib import Path

TESTS = Path(__file__).parents[1]
EXPECTS = ("pytest.raises", "pytest.warns", "pytest.fail", "expect")


def claims(node: ast.AST) -> bool:
    """Whether a test asserts, expects an error, waits for something, or calls what is named for checking."""
    for part in ast.walk(node):
        if isinstance(part, ast.Assert):
            return True
        if isinstance(part, ast.Call):
            name = ast.unparse(part.func)
            last = name.rpartition(".")[2]
            if (
                name in EXPECTS
                or last == "wait_for"
                or "assert_" in last
                or last.startswith(("expect_", "check_"))
            ):
                return True
    return False


def empty_tests(tree: ast.Module) -> list[str]:
    return [
        node.name
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.name.startswith("test_")
        and not claims(node)
    ]


def test_every_test_claims_something():
    empty = [
        f"{path.relative_to(TESTS).as_posix()}: {name}"
        for path in sorted(TESTS.rglob("test_*.py"))
        for name in empty_tests(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert empty == []


def test_an_empty_test_is_found():
    text = "def test_a():\n    pass\ndef test_b():\n    assert 1\ndef test_c():\n    assert_same(1, 1)"
    assert empty_tests(ast.parse(text)) == ["test_a"]
