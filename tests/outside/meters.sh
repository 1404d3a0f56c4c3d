#!/usr/bin/env bash
# Our meters beside libsigrok (Debian's sigrok-cli): generated frames of every chip, and the SCPI stub.
# Skipped with a notice where sigrok-cli is not there and cannot be installed.
#
# usage: meters.sh WORK     WORK: a folder for what is made on the way
set -euo pipefail

here="$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)"
work="$(mkdir -p "$1" && cd "$1" && pwd)"
cd "$here/../.."

missing() { ! command -v sigrok-cli >/dev/null || ! command -v python3 >/dev/null || ! command -v gcc >/dev/null; }

if missing && [[ "$(id -u)" == 0 ]] && command -v apt-get >/dev/null; then
    apt-get update -qq || true
    DEBIAN_FRONTEND=noninteractive apt-get install -qq --no-install-recommends -y sigrok-cli python3 gcc libc6-dev >/dev/null || true
fi
if missing; then
    echo "skipped: meters are not compared with libsigrok, for sigrok-cli, python3 or gcc is not there" \
        "(Debian: apt-get install sigrok-cli python3 gcc)"
    exit 0
fi
sigrok-cli --version | grep -m1 -E 'libsigrok [0-9]' || true

ours() { cargo test --quiet --locked -p trisect-multimeter --lib -- --exact "$1" >"$work/meters.log" 2>&1 || { cat "$work/meters.log"; exit 1; }; }

gcc -shared -fPIC -O1 -Wall -Wextra -o "$work/modem.so" "$here/modem.c" -ldl
rm -f "$work/frames.jsonl"
GENERATED_FRAMES="$work/frames.jsonl" ours tests::generated::every_generated_frame_reads_as_it_was_shown
timeout 240 python3 "$here/sigrok.py" "$work/modem.so" "$work/frames.jsonl"

# libsigrok knows SCPI meters by their identity alone: the stub gives one of those it knows. The stubs
# are served until the file that names them is gone.
identity="$(python3 "$here/names.py")"
stubs="$work/stubs.jsonl"
rm -f "$stubs"
SCPI_STUB="$stubs" SCPI_STUB_IDENTITY="$identity" \
    ours scpi::tests::the_stub_is_served_to_outside_programs &
server=$!
trap 'rm -f "$stubs"; wait "$server" || true' EXIT
for _ in $(seq 600); do
    [[ -e "$stubs" ]] && break
    kill -0 "$server" 2>/dev/null || { echo "the stub could not be served" >&2; exit 1; }
    sleep 0.1
done
timeout 120 python3 "$here/scpi.py" "$stubs"
