"""Django settings: the one place that reads the environment.

`DOFFER_DATA` is the folder of one mill (database, key, photos, backups); `DOFFER_DATABASE_URL` puts the
records into PostgreSQL instead of the SQLite file in that folder.
"""

from __future__ import annotations

import json
import os
import secrets
from pathlib import Path
from urllib.parse import unquote, urlparse

import platformdirs

DATA_ROOT = Path(os.environ.get("DOFFER_ROOT", platformdirs.user_data_dir("doffer", appauthor=False)))
DATA = Path(os.environ.get("DOFFER_DATA", DATA_ROOT / "mill"))


def _secret_key(folder: Path) -> str:
    """The mill's own key, made once with owner-only rights."""
    path = folder / "secret.key"
    folder.mkdir(parents=True, exist_ok=True)
    try:
        handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    except FileExistsError:
        return path.read_text().strip()
    with os.fdopen(handle, "w") as out:
        key = secrets.token_urlsafe(64)
        out.write(key)
    return key


def _mill_json(folder: Path) -> dict[str, object]:
    """What the data folder says of itself: {"name", "kind": "demo"|"own"}."""
    path = folder / "mill.json"
    return json.loads(path.read_text()) if path.exists() else {}


def _database(url: str | None, folder: Path) -> dict[str, object]:
    """SQLite in the data folder, or PostgreSQL by URL."""
    if url:
        parts = urlparse(url)
        return {
            "ENGINE": "django.db.backends.postgresql",
            "NAME": parts.path.lstrip("/"),
            "USER": unquote(parts.username or ""),
            "PASSWORD": unquote(parts.password or ""),
            "HOST": parts.hostname or "",
            "PORT": str(parts.port or ""),
            "CONN_MAX_AGE": None,
        }
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": folder / "doffer.sqlite3",
        "CONN_MAX_AGE": None,
        "OPTIONS": {
            "timeout": 20,
            "transaction_mode": "IMMEDIATE",
            "init_command": (
                "PRAGMA journal_mode=WAL;PRAGMA synchronous=FULL;PRAGMA recursive_triggers=ON;"
                "PRAGMA cache_size=-32768;PRAGMA mmap_size=134217728;PRAGMA temp_store=MEMORY;"
                "PRAGMA wal_autocheckpoint=1000;"
            ),
        },
    }


MILL = _mill_json(DATA)
IS_DEMO = MILL.get("kind") == "demo"
SECRET_KEY = _secret_key(DATA)
DEBUG = False
ALLOWED_HOSTS = ["127.0.0.1", "localhost", "[::1]", "testserver"]
DATABASES = {"default": _database(os.environ.get("DOFFER_DATABASE_URL"), DATA)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
INSTALLED_APPS = [
    "django.contrib.contenttypes",
    "django.contrib.auth",
    "django.contrib.sessions",
    "django.contrib.staticfiles",
    "doffer.people",
    "doffer.mill",
    "doffer.ui",
]
AUTH_USER_MODEL = "people.Person"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
ROOT_URLCONF = "doffer.urls"
STATIC_URL = "/static/"
MEDIA_ROOT = DATA / "media"
USE_TZ = True
TIME_ZONE = "UTC"
LANGUAGE_CODE = "en-gb"
