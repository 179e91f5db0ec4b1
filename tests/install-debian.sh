#!/bin/sh
# The one list of what a bare Debian machine with Rust lacks to prove the project.
# With --missing it installs nothing and prints what it would.
# Run by `cargo xtask test` when it may install (root, or CI); otherwise a person runs it: sudo sh tests/install-debian.sh
set -eu
export DEBIAN_FRONTEND=noninteractive

# Cross compiler with the sources of `core` (no target can be added to rustup here), linker, emulator.
firmware="rustc-web cargo-web rust-web-src lld qemu-system-arm"
# What reads the paper back: structure, text and attachments, archival rules, the code.
paper="qpdf poppler-utils zbar-tools libpdfbox2-java libactivation-java libjaxb-api-java default-jre-headless openssl"
# The independent sensor slave and the readers in Python; a C compiler for SQLite.
bench="python3 python3-venv gcc libc6-dev"
# The browser that the pages are tried in, and what drives it.
browser="chromium"
command -v npm >/dev/null || browser="$browser nodejs npm"
# What others do the same with, and what counts instructions, for the table of what is small and fast.
measuring="zstd sqlite3 valgrind hyperfine"

command -v dpkg-query >/dev/null || exit 0 # not Debian: each test says itself what it lacks

missing=""
for package in $firmware $paper $bench $browser $measuring; do
    dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q 'ok installed' || missing="$missing $package"
done
if [ "${1:-}" = "--missing" ]; then
    echo "$missing"
elif [ -n "$missing" ]; then
    echo "installing:$missing"
    apt-get update -qq
    # shellcheck disable=SC2086
    apt-get install -y -qq --no-install-recommends $missing
fi
