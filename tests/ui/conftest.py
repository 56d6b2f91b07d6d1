"""The gallery's environment and context, for the tests of macros and frame."""

import importlib.util
from pathlib import Path

import pytest


def _module(name: str):
    spec = importlib.util.spec_from_file_location(f"ui_{name}", Path(__file__).parent / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def gallery():
    return _module("gallery")


@pytest.fixture(scope="session")
def sample():
    return _module("sample")


@pytest.fixture
def env(gallery, tmp_path):
    return gallery.environment(tmp_path)


@pytest.fixture
def render(env, gallery):
    """Render a piece of template with the context every page has."""

    def rendered(text: str, **more: object) -> str:
        imports = "".join(
            f'{{% import "macros/{name}.html" as {alias} with context %}}'
            for name, alias in (
                ("page", "page"),
                ("forms", "forms"),
                ("figure", "figure"),
                ("working", "workings"),
                ("tables", "tables"),
                ("notices", "notices"),
            )
        )
        return (
            env.from_string(imports + text).render(**gallery.context(**more)).replace("\u202f", " ").strip()
        )

    return rendered
