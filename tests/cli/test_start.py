"""What `./run` and `./test` do where something is missing: decided in a folder and on a PATH of their own."""

import os
import shutil
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2]
TOOLS = [
    "awk",
    "bash",
    "cat",
    "chmod",
    "chown",
    "cksum",
    "cp",
    "dirname",
    "env",
    "grep",
    "mkdir",
    "mktemp",
    "rm",
    "sed",
    "tail",
    "tee",
    "touch",
]
pytestmark = pytest.mark.skipif(
    os.name == "nt" or shutil.which("bash") is None, reason="these are scripts for bash"
)

# A Python that can do nothing but say that it is one, make a folder, and note what else it was asked for.
PYTHON = """#!/usr/bin/env bash
case "$*" in
    *"import sys"*) exit 0 ;;
    *"import ensurepip"*) test -f "$STAGE/has-venv" ;;
    "-m venv "*)
        test -f "$STAGE/has-venv" || exit 1
        mkdir -p "$3/bin" "$3/lib/python3.11/site-packages/playwright/driver"
        cp "$0" "$3/bin/python"
        cp "$STAGE/node" "$3/lib/python3.11/site-packages/playwright/driver/node" ;;
    *sysconfig*) echo "$STAGE" ;;
    *) echo "python $* CHROMIUM=${CHROMIUM:-}" >>"$STAGE/asked" ;;
esac
"""
# Debian's installer: notes what it was asked for, and brings it.
APT = """#!/usr/bin/env bash
echo "apt-get $*" >>"$STAGE/asked"
case "$*" in
    *python3-venv*) touch "$STAGE/has-venv" ;;
    *libatomic1*) touch "$STAGE/has-libatomic" ;;
    *chromium*) printf '#!/bin/sh\\n' >"$STAGE/bin/chromium"; chmod +x "$STAGE/bin/chromium" ;;
esac
"""
NODE = '#!/usr/bin/env bash\ntest -f "$STAGE/has-libatomic"\n'


@dataclass
class Stage:
    """A copy of the start scripts, and a PATH on which only what is put there can be found."""

    folder: Path
    env: dict[str, str] = field(default_factory=dict)

    def __post_init__(self):
        (self.folder / "bin").mkdir()
        (self.folder / ".ci").mkdir()
        for name in ("run", "test", ".ci/venv.sh", "requirements.lock", "requirements-test.lock"):
            shutil.copy(HOUSE / name, self.folder / name)
        for tool in TOOLS:
            (self.folder / "bin" / tool).symlink_to(shutil.which(tool))
        self.put("python3.11", PYTHON)
        self.put("../node", NODE)

    def put(self, name, script):
        path = self.folder / "bin" / name
        path.write_text(script)
        path.chmod(0o755)

    def has(self, *facts):
        for fact in facts:
            (self.folder / f"has-{fact}").touch()

    def be(self, user_id):
        self.put("id", f"#!/bin/sh\necho {user_id}\n")

    def start(self, script, *words, **env):
        path = str(self.folder / "bin")
        return subprocess.run(
            [f"{path}/bash", script, *words],
            cwd=self.folder,
            env={"PATH": path, "STAGE": str(self.folder), "PG_BIN": "/nowhere", **env},
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )

    @property
    def asked(self):
        asked = self.folder / "asked"
        return asked.read_text().splitlines() if asked.exists() else []

    def installed(self):
        return [line.split()[-1] for line in self.asked if line.startswith("apt-get install")]


@pytest.fixture
def debian(tmp_path):
    """A bare Debian, as root: Python 3.11 without venv, and apt-get."""
    stage = Stage(tmp_path)
    stage.put("apt-get", APT)
    stage.be(0)
    return stage


@pytest.fixture
def desk(tmp_path):
    """A computer on which nothing may be installed: an ordinary person sits at it."""
    stage = Stage(tmp_path)
    stage.put("apt-get", APT)
    stage.be(1000)
    return stage


def test_root_on_a_bare_debian_gets_what_python_lacks_and_is_served(debian):
    done = debian.start("run")
    assert (done.returncode, debian.installed()) == (0, ["python3-venv"])
    assert debian.asked[-1].startswith("python -m doffer.cli.main serve")
    assert any(
        "pip install" in line and "--require-hashes -r requirements.lock" in line for line in debian.asked
    )


def test_what_was_made_once_is_not_made_again(debian):
    debian.start("run")
    number = len(debian.asked)
    debian.start("run", "plan", "--help")
    assert debian.asked[number:] == ["python -m doffer.cli.main plan --help CHROMIUM="]


def test_who_may_install_nothing_is_told_what_to_install(desk):
    done = desk.start("run")
    assert (done.returncode, desk.installed()) == (1, [])
    assert "sudo apt install python3-venv" in done.stderr
    desk.has("venv")  # done as told: the next start works, over whatever the first one left
    assert desk.start("run").returncode == 0


def test_another_python_is_refused_in_a_sentence(desk):
    desk.put("python3.11", "#!/bin/sh\nexit 1\n")
    done = desk.start("run")
    assert done.returncode == 1
    assert "Doffer needs Python 3.11, and it was not found here" in done.stderr


def test_tests_on_a_bare_debian_get_chromium_and_the_library_of_its_driver(debian):
    done = debian.start("test", "tests/browser", REQUIRE_BROWSER="1")
    assert (done.returncode, debian.installed()) == (0, ["python3-venv", "chromium", "libatomic1"])
    assert debian.asked[-1].endswith(f"tests/browser CHROMIUM={debian.folder}/bin/chromium")


def test_a_chromium_that_is_there_is_used_as_it_is(debian):
    debian.has("venv", "libatomic")
    debian.put("chromium-browser", "#!/bin/sh\n")
    debian.start("test", "tests/browser")
    assert debian.installed() == []
    assert debian.asked[-1].endswith(f"CHROMIUM={debian.folder}/bin/chromium-browser")


def test_without_chromium_the_other_tests_run_and_the_reader_is_told(desk):
    desk.has("venv")
    done = desk.start("test", "tests/mill")
    assert done.returncode == 0
    assert desk.asked[-1].endswith("tests/mill CHROMIUM=")
    assert "sudo apt-get install chromium" in done.stderr


def test_where_the_browser_is_compulsory_its_absence_stops_the_tests(desk):
    desk.has("venv")
    done = desk.start("test", "tests/mill", REQUIRE_BROWSER="1")
    assert done.returncode == 1
    assert not any("pytest" in line for line in desk.asked)


def test_a_driver_that_does_not_start_stops_the_tests_in_a_sentence(desk):
    desk.has("venv")
    desk.put("chromium", "#!/bin/sh\n")
    done = desk.start("test", "tests/browser")
    assert done.returncode == 1
    assert "sudo apt-get install libatomic1" in done.stderr
    assert not any("pytest" in line for line in desk.asked)


def test_without_postgresql_the_whole_suite_says_what_it_did_not_test(desk):
    desk.has("venv")
    done = desk.start("test")
    assert done.returncode == 0
    assert "the records were tested in SQLite only" in done.stdout


def test_where_postgresql_is_compulsory_it_is_installed_or_its_absence_is_a_failure(debian):
    debian.has("venv", "libatomic")
    debian.put("chromium", "#!/bin/sh\n")
    done = debian.start("test", REQUIRE_POSTGRES="1")
    assert (done.returncode, debian.installed()) == (1, ["postgresql"])
    assert "REQUIRE_POSTGRES=1 and no PostgreSQL here: stopping." in done.stderr


def test_no_start_asks_the_system_for_time_zones():
    for lock in ("requirements.lock", "requirements-test.lock"):
        pinned = next(line for line in (HOUSE / lock).read_text().splitlines() if line.startswith("tzdata=="))
        assert "sys_platform" not in pinned  # a bare Debian has none, nor has Windows
