#!/bin/sh
# The record is tested on PostgreSQL as well as on SQLite. Install the server's programs through the
# system's package manager when they are missing, or say exactly what to install. Nothing is started:
# the tests run a server of their own in a scratch folder.
set -eu

found() {
    [ -n "${LEASTCUT_POSTGRES_BIN:-}" ] && [ -x "$LEASTCUT_POSTGRES_BIN/initdb" ] && return 0
    command -v initdb >/dev/null 2>&1 && return 0
    for folder in /usr/lib/postgresql/*/bin /opt/homebrew/opt/postgresql@*/bin \
        /usr/local/opt/postgresql@*/bin /Applications/Postgres.app/Contents/Versions/*/bin \
        /usr/pgsql-*/bin /usr/local/pgsql/bin; do
        [ -x "$folder/initdb" ] && return 0
    done
    return 1
}

found && exit 0
root=""
[ "$(id -u)" = 0 ] || root="sudo -n"
if command -v apt-get >/dev/null 2>&1 && { [ -z "$root" ] || $root true 2>/dev/null; }; then
    echo "Installing postgresql with apt-get …"
    $root apt-get -qq update
    # The package would begin a cluster and a service of its own: not wanted here.
    $root mkdir -p /etc/postgresql-common
    [ -e /etc/postgresql-common/createcluster.conf ] ||
        echo "create_main_cluster = false" |
        $root tee /etc/postgresql-common/createcluster.conf >/dev/null
    DEBIAN_FRONTEND=noninteractive $root apt-get -qq install -y --no-install-recommends \
        postgresql >/dev/null || true
elif command -v brew >/dev/null 2>&1; then
    echo "Installing postgresql with brew …"
    brew install --quiet postgresql@17
fi
found && exit 0
cat >&2 <<'EOF'
make test runs the record's tests on PostgreSQL too, and no server was found. Install it, then run
make test again (its programs may lie anywhere: set LEASTCUT_POSTGRES_BIN to the folder of initdb):
  Debian, Ubuntu:  sudo apt-get install postgresql
  macOS:           brew install postgresql@17
EOF
exit 1
