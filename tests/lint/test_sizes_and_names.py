"""House rules on files: short, named for what they hold, no drawer for leftovers, no lonely folder."""

import ast
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MOST_LINES_IN_FILE = 500
MOST_LINES_IN_FUNCTION = 60
DRAWERS = {"utils", "util", "helpers", "helper", "common", "manager", "base", "misc", "service", "services"}
PYTHON = [
    path
    for folder in ("src", "tests", "bench")
    for path in sorted((ROOT / folder).rglob("*.py"))
    if "migrations" not in path.parts
]


def relative(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def functions(path: Path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def code_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function without its docstring."""
    first = node.body[0]
    doc = first.end_lineno - first.lineno + 1 if ast.get_docstring(node) is not None else 0
    return node.end_lineno - node.lineno + 1 - doc


def test_no_file_is_longer_than_five_hundred_lines():
    long = [
        relative(p) for p in PYTHON if len(p.read_text(encoding="utf-8").splitlines()) > MOST_LINES_IN_FILE
    ]
    assert long == []


def test_no_function_is_longer_than_sixty_lines():
    long = [
        f"{relative(path)}:{node.lineno} {node.name} ({code_lines(node)} lines)"
        for path in PYTHON
        for node in functions(path)
        if code_lines(node) > MOST_LINES_IN_FUNCTION
    ]
    assert long == []


def test_the_long_function_rule_can_fail():
    body = "\n".join("    x = 1" for _ in range(MOST_LINES_IN_FUNCTION + 1))
    node = ast.parse(f'def long():\n    """One line."""\n{body}\n').body[0]
    assert code_lines(node) > MOST_LINES_IN_FUNCTION


def test_no_file_is_a_drawer_for_leftovers():
    # base.html is what every template system calls the page frame; Python files have no such excuse.
    drawers = [relative(path) for path in PYTHON if path.stem.lower().strip("_") in DRAWERS]
    assert drawers == []


def tracked_files() -> list[str]:
    listing = subprocess.run(
        ["git", "ls-files", "src"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listing.returncode:
        pytest.skip("not a git checkout: what is tracked cannot be asked")
    return listing.stdout.splitlines()


def test_no_package_has_a_single_file():
    packages: dict[str, set[str]] = {}
    for name in tracked_files():
        folder, _, file = name.rpartition("/")
        packages.setdefault(folder, set())
        if file.endswith(".py") and file != "__init__.py":
            packages[folder].add(file)
    with_python = {Path(name).parent.as_posix() for name in tracked_files() if name.endswith("/__init__.py")}
    children = {folder: [f for f in packages if f.startswith(f"{folder}/")] for folder in with_python}
    lonely = [folder for folder in sorted(with_python) if len(packages[folder]) == 1 and not children[folder]]
    assert [folder for folder in lonely if not folder.endswith("migrations")] == []
