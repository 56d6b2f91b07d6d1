"""Django settings: the one place that reads the environment.

`DOFFER_DATA` is the folder of one mill (database, key, photos, backups); `DOFFER_DATABASE_URL` puts the
records into PostgreSQL instead of the SQLite file in that folder (the demo always keeps to its own file);
`DOFFER_TIME_ZONE` says where midnight is, else the computer does.
"""

from __future__ import annotations

import hashlib
import os
import secrets
from pathlib import Path
from urllib.parse import unquote, urlparse

from doffer.mill.folder import DATABASE, OWN, data_root, read_card
from doffer.mill.zone import local_zone

PACKAGE = Path(__file__).parent
DATA_ROOT = data_root()
DATA = Path(os.environ.get("DOFFER_DATA") or DATA_ROOT / OWN)


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
        "NAME": folder / DATABASE,
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


def _static_stamp(folder: Path) -> str:
    """A short hash over the shipped static files; it is part of their address, so browsers may keep them."""
    digest = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            digest.update(path.relative_to(folder).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:10]


def _always(_path: str, _url: str) -> bool:
    """Every static address carries the stamp, so every static file may be kept for ever."""
    return True


def _logging(folder: Path, process: str) -> dict[str, object]:
    """One log file per kind of process in the mill's data folder, and the console."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
        "handlers": {
            "console": {"class": "logging.StreamHandler", "formatter": "line", "level": "WARNING"},
            "file": {
                "class": "logging.handlers.RotatingFileHandler",
                "filename": folder / "logs" / f"{process}.log",
                "maxBytes": 2_000_000,
                "backupCount": 5,
                "encoding": "utf-8",
                "delay": True,  # commands that log nothing leave no file
                "formatter": "line",
            },
        },
        # A wrong address is the asker's affair: it stands in no log line that somebody must read.
        "loggers": {"django.request": {"level": "ERROR"}},
        "root": {"handlers": ["console", "file"], "level": "INFO"},
    }


MILL = read_card(DATA)
IS_DEMO = MILL.get("kind") == "demo"
SECRET_KEY = _secret_key(DATA)
DEBUG = False
ALLOWED_HOSTS = ["127.0.0.1", "localhost", "[::1]"]
DATABASES = {"default": _database(None if IS_DEMO else os.environ.get("DOFFER_DATABASE_URL"), DATA)}
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
MIDDLEWARE = [
    "doffer.serve.headers.headers",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "doffer.people.middleware.PersonMiddleware",
    "doffer.serve.uploads.uploads",  # before whatever looks into a form
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "doffer.office.who.AskWho",
    "doffer.office.scan.ScannedIntoSearch",
    "doffer.serve.error_pages.ErrorPages",
]
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.jinja2.Jinja2",
        "DIRS": [PACKAGE / "ui" / "templates", PACKAGE / "office" / "templates"],
        "APP_DIRS": False,
        "OPTIONS": {
            "environment": "doffer.ui.jinja.environment",
            "context_processors": ["doffer.serve.context.page_head"],
        },
    }
]
ROOT_URLCONF = "doffer.urls"
AUTH_USER_MODEL = "people.Person"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]

# Two mills on one computer share the host name and cookies do not look at ports: each has its own names.
_COOKIE = "doffer_" + hashlib.sha256(str(DATA.resolve()).encode()).hexdigest()[:8]
SESSION_ENGINE = "django.contrib.sessions.backends.db"
SESSION_COOKIE_NAME = f"{_COOKIE}_session"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 400 * 24 * 3600
CSRF_COOKIE_NAME = f"{_COOKIE}_csrf"
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "doffer.serve.error_pages.csrf_failure"
X_FRAME_OPTIONS = "DENY"
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000

STATIC_URL = f"/static/{_static_stamp(PACKAGE / 'ui' / 'static')}/"
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False
WHITENOISE_IMMUTABLE_FILE_TEST = _always
WHITENOISE_ALLOW_ALL_ORIGINS = False
MEDIA_URL = "/media/"
MEDIA_ROOT = DATA / "media"
FILE_UPLOAD_PERMISSIONS = 0o600

USE_TZ = True
TIME_ZONE = local_zone(os.environ.get("DOFFER_TIME_ZONE", ""), os.environ.get("TZ", ""))
LANGUAGE_CODE = "en-gb"
(DATA / "logs").mkdir(parents=True, exist_ok=True)
LOGGING = _logging(DATA, os.environ.get("DOFFER_PROCESS", "commands"))
