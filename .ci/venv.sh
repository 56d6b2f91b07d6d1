# Shared by run and test: find Python 3.11, and make a virtual environment that fits a lock file.

find_python() {
    local candidate
    for candidate in "${PYTHON:-}" python3.11 python3 python; do
        if [ -n "$candidate" ] && command -v "$candidate" >/dev/null 2>&1 &&
            "$candidate" -c 'import sys; sys.exit(sys.version_info[:2] != (3, 11))' >/dev/null 2>&1; then
            command -v "$candidate"
            return
        fi
    done
    {
        echo "Doffer needs Python 3.11, and it was not found here. Install it (Debian 12: apt install python3 python3-venv;"
        echo "macOS: brew install python@3.11), or name it: PYTHON=/path/to/python3.11 $0"
    } >&2
    return 1
}

# Debian and its relatives, as root: what is missing may be installed without asking.
may_install() { [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; }

apt_install() {
    echo "Installing $* ..." >&2
    DEBIAN_FRONTEND=noninteractive apt-get update -qq >&2 &&
        DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >&2
}

# make_venv FOLDER LOCK: nothing to do when the stamp in the folder fits the lock file and this place.
make_venv() {
    local venv=$1 lock=$2 python site
    local stamp="$venv/.doffer-lock" wanted
    wanted="$(cksum <"$lock") $PWD"
    if [ -f "$stamp" ] && [ "$(cat "$stamp")" = "$wanted" ]; then return; fi
    python=$(find_python)
    if ! "$python" -c 'import ensurepip' 2>/dev/null && may_install; then apt_install python3-venv || true; fi
    echo "Setting up $venv (once; a minute or so) ..." >&2
    if ! "$python" -m venv "$venv" >/dev/null; then
        echo "Python's venv module is incomplete here. Install it (Debian: sudo apt install python3-venv), then start again." >&2
        return 1
    fi
    "$venv/bin/python" -m pip install -qq --disable-pip-version-check --require-hashes -r "$lock"
    # The program is used from this folder: a path file does what an editable install does, without a download.
    site=$("$venv/bin/python" -c 'import sysconfig; print(sysconfig.get_path("purelib"))')
    echo "$PWD/src" >"$site/doffer.pth"
    printf '#!/bin/sh\nexec "%s/bin/python" -m doffer.cli.main "$@"\n' "$(cd "$venv" && pwd)" >"$venv/bin/doffer"
    chmod +x "$venv/bin/doffer"
    echo "$wanted" >"$stamp"
}
