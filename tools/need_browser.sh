#!/bin/sh
# The page tests drive a real Chromium. Install it through the system's package manager when it is
# missing, or say exactly what to install.
set -eu

found() {
    command -v chromium >/dev/null 2>&1 || command -v chromium-browser >/dev/null 2>&1 ||
        command -v google-chrome >/dev/null 2>&1 ||
        [ -x "/Applications/Chromium.app/Contents/MacOS/Chromium" ]
}

found && exit 0
root=""
[ "$(id -u)" = 0 ] || root="sudo -n"
if command -v apt-get >/dev/null 2>&1 && { [ -z "$root" ] || $root true 2>/dev/null; }; then
    echo "Installing chromium with apt-get …"
    $root apt-get -qq update
    DEBIAN_FRONTEND=noninteractive $root apt-get -qq install -y --no-install-recommends \
        chromium fonts-dejavu-core >/dev/null || true
elif command -v brew >/dev/null 2>&1; then
    echo "Installing chromium with brew …"
    brew install --cask chromium
fi
found && exit 0
cat >&2 <<'EOF'
make test drives the pages in Chromium, and none was found. Install it, then run make test again:
  Debian, Ubuntu:  sudo apt-get install chromium fonts-dejavu-core   (Ubuntu: chromium-browser)
  macOS:           brew install --cask chromium
EOF
exit 1
