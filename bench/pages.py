"""How long the server takes for a page with ten years of records, beside a tenth of them and the bare query.

Each size gets a fresh SQLite mill of its own in a child process; pages are asked for through the whole of
Django (middleware, view, template) without the network.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from figure import Figure, beside, quantile_s

TARGET_S = 0.050
SIZES = {"ten years": (20_000, 500_000), "one year": (2_000, 50_000)}
ASKED = 120


def measure() -> list[Figure]:
    """Figures of the pages."""
    found = {name: _in_child(*size) for name, size in SIZES.items()}
    figures = []
    for page in ("today", "lot", "lots"):
        full_s, tenth_s = found["ten years"][page], found["one year"][page]
        figures += [
            beside(
                f"{page} page, 500,000 weighings, p95",
                full_s,
                reference="limit",
                reference_s=TARGET_S,
                most=1,
            ),
            beside(
                f"{page} page at ten times the records",
                full_s,
                reference="a tenth",
                reference_s=tenth_s,
                most=1.5,
            ),
        ]
    bare_s = found["ten years"]["bare"]
    figures.append(
        beside(
            "lot page beside its bare SQL", found["ten years"]["lot"], reference="sqlite3", reference_s=bare_s
        )
    )
    return figures


def _in_child(n_lots: int, n_weighings: int) -> dict[str, float]:
    """Seconds by page, measured in a process with a mill of this size."""
    with tempfile.TemporaryDirectory() as folder:
        env = os.environ | {"DOFFER_DATA": folder, "DJANGO_SETTINGS_MODULE": "doffer.settings"}
        env.pop("DOFFER_DATABASE_URL", None)
        done = subprocess.run(
            [sys.executable, str(Path(__file__)), str(n_lots), str(n_weighings)],
            env=env,
            capture_output=True,
            text=True,
            check=False,
        )
    if done.returncode:
        raise RuntimeError(done.stderr)
    return json.loads(done.stdout.splitlines()[-1])


def _measure_here(n_lots: int, n_weighings: int) -> dict[str, float]:
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.test import Client

    import ten_years

    call_command("migrate", verbosity=0)
    codes = ten_years.fill(n_lots=n_lots, n_weighings=n_weighings)
    connection.cursor().execute("ANALYZE")
    client = Client(HTTP_HOST="localhost")
    asked = codes[:: max(1, len(codes) // ASKED)][:ASKED]

    def get(path: str) -> None:
        answer = client.get(path)
        if answer.status_code != 200:
            raise RuntimeError(f"{path}: {answer.status_code}")

    def bare(code: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT w.* FROM mill_weighing w JOIN mill_lot l ON l.id = w.lot_id WHERE l.code = %s "
                "ORDER BY w.id DESC LIMIT 50",
                [code],
            )
            cursor.fetchall()

    for path in ("/", f"/lots/{codes[0]}/", "/lots/"):
        get(path)
    return {
        "today": quantile_s([lambda: get("/")] * ASKED, 0.95),
        "lot": quantile_s([lambda c=c: get(f"/lots/{c}/") for c in asked], 0.95),
        "lots": quantile_s([lambda: get("/lots/")] * ASKED, 0.95),
        "bare": quantile_s([lambda c=c: bare(c) for c in asked], 0.5),
    }


if __name__ == "__main__":
    print(json.dumps(_measure_here(int(sys.argv[1]), int(sys.argv[2]))))
