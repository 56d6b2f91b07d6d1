#!/bin/sh
# A PostgreSQL cluster that is thrown away: runs a command with DOFFER_DATABASE_URL set, then stops it.
#   tests/pg/cluster.sh .venv/bin/pytest tests/mill tests/people
# Without a command it prints the address and runs until Enter is pressed. Needs PostgreSQL 15 or later
# installed; started by root it runs as the user postgres.
set -eu
bin=${PG_BIN:-$(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -V | tail -1)}
[ -x "$bin/initdb" ] || { echo "No PostgreSQL found: install it or set PG_BIN." >&2; exit 1; }
folder=$(mktemp -d /tmp/doffer-pg-XXXXXX)
port=${PG_PORT:-$(python3 -c 'import socket; s=socket.socket(); s.bind(("127.0.0.1",0)); print(s.getsockname()[1])')}
if [ "$(id -u)" = 0 ]; then
    chown postgres "$folder"
    as() { (cd "$folder" && setpriv --reuid=postgres --regid=postgres --init-groups "$@"); }
else
    as() { (cd "$folder" && "$@"); }
fi
stop() { as "$bin/pg_ctl" -D "$folder/data" -m immediate stop >/dev/null 2>&1 || true; rm -rf "$folder"; }
trap stop EXIT
trap 'exit 130' INT TERM
as "$bin/initdb" -D "$folder/data" -U doffer -A trust -E UTF8 --locale=C.UTF-8 >/dev/null
as "$bin/pg_ctl" -D "$folder/data" -l "$folder/log" -w \
    -o "-p $port -c listen_addresses=127.0.0.1 -k $folder -c fsync=off" start >/dev/null
as "$bin/createdb" -h 127.0.0.1 -p "$port" -U doffer doffer
export DOFFER_DATABASE_URL="postgresql://doffer@127.0.0.1:$port/doffer"
if [ $# -gt 0 ]; then "$@"; else echo "$DOFFER_DATABASE_URL"; read -r _; fi
