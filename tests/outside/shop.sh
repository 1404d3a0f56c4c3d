#!/usr/bin/env bash
# What a shop depends on, held against programs that know nothing of ours: Prometheus' parser, SQLite's own
# tool, OpenSSL, a WebSocket library, systemd's checks of its units.
#
# usage: shop.sh PROGRAMS OUTSIDE REPOSITORY PYTHON
set -euo pipefail

programs="$1" outside="$2" root="$3" python="$4"
work="$(mktemp -d)"
daemon=""
finish() {
    [[ -z "$daemon" ]] || kill "$daemon" 2>/dev/null || true
    rm -rf "$work"
}
trap finish EXIT

certificate() {
    openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 -subj "/CN=$1" \
        -addext "subjectAltName=DNS:localhost" -keyout "$work/key.new" -out "$work/certificate.new" 2>/dev/null
    mv "$work/key.new" "$work/key.pem"
    mv "$work/certificate.new" "$work/certificate.pem"
}
certificate first
token="$("$programs/trisectd" token add outside --role manage --file "$work/tokens.toml")"
cat >"$work/trisectd.toml" <<TOML
listen = "127.0.0.1:0"
journal = "$work/journal.db"
token_file = "$work/tokens.toml"
[tls]
listen = "127.0.0.1:0"
certificate = "$work/certificate.pem"
key = "$work/key.pem"
TOML
"$programs/trisectd" check-config --config "$work/trisectd.toml"
"$programs/trisectd" serve --config "$work/trisectd.toml" --log warn >"$work/said" &
daemon=$!
for _ in $(seq 200); do
    grep -q https "$work/said" && break
    kill -0 "$daemon"
    sleep 0.05
done
plain="$(sed -n 's|^listening on http://\(.*\)/rpc$|\1|p' "$work/said")"
tls="$(sed -n 's|^listening on https://\(.*\)/rpc$|\1|p' "$work/said")"

"$python" "$outside/websocket.py" "ws://$plain/rpc" "$token"
"$python" "$outside/frames.py" "$plain" "$token"

# The TLS port: a handshake that verifies, a request through it, old protocols refused.
shake() { openssl s_client -connect "$tls" -servername localhost -CAfile "$work/certificate.pem" "$@" </dev/null 2>&1; }
[[ "$(shake -verify_return_error -verify_hostname localhost)" == *"Verify return code: 0 (ok)"* ]]
[[ "$(shake -tls1_3)" == *TLSv1.3* ]]
if [[ "$(shake -tls1_1 || true)" == *"Cipher is TLS"* || "$(shake -tls1_1 || true)" == *"Cipher is ECDHE"* ]]; then
    echo "shop: TLS 1.1 was taken" >&2
    exit 1
fi
printf 'GET /metrics HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer %s\r\nConnection: close\r\n\r\n' "$token" |
    openssl s_client -quiet -connect "$tls" -servername localhost -CAfile "$work/certificate.pem" 2>/dev/null |
    sed '1,/^\r$/d' | tr -d '\r' >"$work/metrics"
"$python" "$outside/metrics.py" <"$work/metrics"
# Taken up while the service runs.
certificate second
for _ in $(seq 200); do
    [[ "$(shake || true)" == *"CN = second"* ]] && break
    sleep 0.05
done
[[ "$(shake)" == *"CN = second"* ]]
echo "tls: openssl verifies the port, and the certificate that took the first one's place"

# SQLite's own check, while the service runs, of the journal and of a copy.
"$programs/trisectd" backup "$work/copy.db" --config "$work/trisectd.toml"
for file in journal.db copy.db; do
    [[ "$(sqlite3 "$work/$file" 'PRAGMA integrity_check; PRAGMA foreign_key_check;')" == ok ]]
done
[[ "$(sqlite3 "$work/copy.db" 'SELECT count(*) FROM event')" -ge 50 ]]
echo "sqlite: integrity_check says ok of the journal and of its copy"
kill "$daemon"
wait "$daemon"
daemon=""

# systemd's own look at the units, in a root where their program is.
units="$work/bare/etc/systemd/system"
mkdir -p "$units" "$work/bare/usr/bin" "$work/bare/bin"
cp "$root"/deploy/trisectd.{service,socket} "$units/"
install -m 755 /dev/null "$work/bare/usr/bin/trisectd"
install -m 755 /dev/null "$work/bare/bin/kill"
for unit in /lib/systemd/system/{network,time-sync,sysinit,basic,shutdown,sockets,multi-user}.target; do
    [[ -e "$unit" ]] && cp "$unit" "$units/" || true
done
said="$(systemd-analyze verify --man=no --recursive-errors=no --root="$work/bare" trisectd.service trisectd.socket 2>&1 || true)"
if grep -E "trisectd\.(service|socket)" <<<"$said"; then
    echo "shop: systemd-analyze verify finds fault" >&2
    exit 1
fi
score="$(systemd-analyze security --offline=true --threshold=20 "$root/deploy/trisectd.service" 2>/dev/null | tail -1)"
echo "systemd: verified;$score"

# udev's own look at the rules: `verify` where it is new enough to have it, else what it says as it reads them, in a
# mount of our own; and what they come to on a serial port, one that is on no USB put in the place of one that is.
rules="$root/deploy/60-trisect.rules"
if udevadm verify --help >/dev/null 2>&1; then
    udevadm verify "$rules"
    echo "udev: verified"
fi
if [[ "$(id -u)" != 0 || ! -e /sys/class/tty/ttyS0 ]]; then
    echo "udev: not tried on a port, as that needs root and one"
else
    tried() {
        sed "$1" "$rules" >"$work/60-trisect.rules"
        unshare --mount bash -c '
            mkdir -p /run/udev/rules.d && mount -t tmpfs tmpfs /run/udev/rules.d
            cp "$1" /run/udev/rules.d/ && udevadm test --action=add /sys/class/tty/ttyS0 2>&1' - "$work/60-trisect.rules"
    }
    said="$(tried 's/^SUBSYSTEMS!="usb"/SUBSYSTEMS=="none-such"/')"
    [[ "$said" == *"Reading rules file: /run/udev/rules.d/60-trisect.rules"* ]]
    if grep -E "60-trisect\.rules:[0-9]+ (Invalid|Unknown|Failed to parse)" <<<"$said"; then
        echo "shop: udev finds fault with the rules" >&2
        exit 1
    fi
    dialout="$(getent group dialout | cut -d: -f3)"
    [[ "$said" == *"60-trisect.rules:11 GROUP $dialout"* && "$said" == *"60-trisect.rules:11 MODE 0660"* ]]
    # As they stand they leave a port alone that is on no USB.
    [[ "$(tried '')" != *"60-trisect.rules:11"* ]]
    # A mistake would be seen.
    [[ "$(tried '1i FOO="bar"')" == *"60-trisect.rules:1 Invalid"* ]]
    echo "udev: the rules are read without fault, and give a port its group and mode"
fi
