"""Render every picture and macro to a folder of plain HTML files: `python tests/ui/gallery.py OUTDIR`.

No server: open the files in a browser, or screenshot them. All data are invented.
"""

from __future__ import annotations

import shutil
import sys
from datetime import date
from pathlib import Path
from types import SimpleNamespace

ROOT = Path(__file__).resolve().parents[2]
SRC = ROOT / "src"
sys.path[:0] = [str(SRC), str(Path(__file__).parent)]

UI = SRC / "doffer" / "ui"


def context(**more: object) -> dict[str, object]:
    """What the context processor gives to every page."""
    people = [
        SimpleNamespace(code=f"P{k}", name=name, initials=name[0])
        for k, name in enumerate(("Wrenna", "Tobbin", "Figgo"))
    ]
    mill = SimpleNamespace(name="Quillfern Hollow", is_demo=True, units="metric", country="GB")
    return {
        "mill": mill,
        "person": people[0],
        "people": people,
        "version": "0.1.0",
        "today": date(2026, 3, 2),
        "csrf_input": "",
        **more,
    }


def environment(out: Path):
    """The environment of the product, reading static files from the output folder."""
    from django.conf import settings

    if not settings.configured:
        settings.configure(STATIC_URL="static/", INSTALLED_APPS=[])
        import django

        django.setup()
    from jinja2 import FileSystemLoader

    from doffer.ui.jinja import environment as ours

    env = ours(loader=FileSystemLoader([UI / "templates", Path(__file__).parent / "templates"]))
    env.globals["static"] = lambda path: f"static/{path}"
    return env


def main(out: Path) -> None:
    """Write the gallery."""
    import sample

    out.mkdir(parents=True, exist_ok=True)
    shutil.copytree(UI / "static", out / "static", dirs_exist_ok=True)
    env = environment(out)
    for page in ("pictures", "macros"):
        html = env.get_template(f"gallery_{page}.html").render(**context(sample=sample))
        (out / f"{page}.html").write_text(html, encoding="utf-8")
    (out / "404.html").write_text(env.get_template("404.html").render(**context()), encoding="utf-8")
    (out / "500.html").write_text(env.get_template("500.html").render(), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
