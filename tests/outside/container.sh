#!/usr/bin/env bash
# The container file, built by buildah, and the service answering from what was built.
#
# usage: container.sh TARGET OUTSIDE REPOSITORY
# The images it begins with come from a registry that tests do not reach. In their place are: for Debian, the bare
# root that package.sh installs into; for Rust, the same with stand-ins for `cargo` and `apt-get`, which hold the step
# against what it has to be given and put the programs where it would have built them. Every other step is carried out
# as it stands. Needs root; without it this is said, and nothing is built.
set -euo pipefail

target="$1" outside="$2" repository="$3"
if [[ "$(id -u)" != 0 ]] || ! command -v buildah >/dev/null || ! command -v ip >/dev/null; then
    echo "container: not built, as that needs root, buildah and iproute2"
    exit 0
fi
work="$(mktemp -d)"
# A process with all that came of it, by their numbers.
end() {
    local child
    for child in $(pgrep -P "$1"); do end "$child"; done
    kill "$1" 2>/dev/null || true
}
serving="" inside=""
finish() {
    [[ -z "$serving" ]] || end "$serving"
    [[ -z "$inside" ]] || end "$inside"
    wait
    umount -R "$work/store" 2>/dev/null || true
    # What was mounted there is let go a moment later.
    for _ in $(seq 20); do rm -rf "$work" 2>/dev/null && return; sleep 0.2; done
    echo "container: $work could not be removed" >&2
}
trap finish EXIT
containers() { buildah --storage-driver vfs --root "$work/store" --runroot "$work/run" "$@"; }
build() { containers bud --quiet --isolation chroot --format docker --pull-never "$@"; }

bare="$outside/bare.tar"
[[ -e "$bare" ]] || mmdebstrap --quiet --variant=essential --include=passwd bookworm "$bare"
mkdir -p "$work/debian" "$work/rust"
ln "$bare" "$work/debian/bare.tar" 2>/dev/null || cp "$bare" "$work/debian/bare.tar"
printf 'FROM scratch\nADD bare.tar /\n' >"$work/debian/Containerfile"
build --tag docker.io/library/debian:bookworm-slim "$work/debian" >/dev/null

install -m 755 "$target/debug/trisectd" "$target/debug/trisect" "$work/rust/"
strip "$work/rust/trisectd" "$work/rust/trisect"
cat >"$work/rust/cargo" <<'CARGO'
#!/bin/bash
# Stands in for cargo: what it is told, and what it is given.
set -euo pipefail
[[ "$*" == "build --release --locked -p trisectd -p trisect" ]] || { echo "cargo: not expected: $*" >&2; exit 1; }
# Every member of the workspace has to be there, with what it names in its manifest.
sed -n '/^members = \[/,/^\]/p' Cargo.toml | grep -o '"[^"]*"' | tr -d '"' | while read -r member; do
    [[ -s "$member/Cargo.toml" ]] || { echo "cargo: $member was not copied" >&2; exit 1; }
done
[[ -s Cargo.lock ]] || { echo "cargo: Cargo.lock was not copied" >&2; exit 1; }
mkdir -p target/release
cp /opt/trisectd /opt/trisect target/release/
CARGO
cat >"$work/rust/apt-get" <<'APT'
#!/bin/bash
[[ "$*" == update || "$*" == "install --no-install-recommends -y gcc libc6-dev" ]] || { echo "apt-get: not expected: $*" >&2; exit 1; }
APT
chmod 755 "$work/rust/cargo" "$work/rust/apt-get"
printf 'FROM docker.io/library/debian:bookworm-slim\nCOPY trisectd trisect /opt/\nCOPY cargo apt-get /usr/local/bin/\n' \
    >"$work/rust/Containerfile"
build --tag docker.io/library/rust:1.95-slim-bookworm "$work/rust" >/dev/null

build --tag trisect --file "$repository/deploy/Containerfile" "$repository" >/dev/null
said() { containers inspect --type image --format "$1" trisect; }
user="$(said '{{.Docker.Config.User}}')"
[[ "$user" == trisect && "$(said '{{.Docker.Config.Entrypoint}}')" == "[/usr/bin/trisectd]" ]]
[[ "$(said '{{.Docker.Config.Cmd}}')" == "[serve --config /etc/trisect/trisectd.toml]" ]]
[[ "$(said '{{.Docker.Config.ExposedPorts}}')" == *7474* && "$(said '{{.Docker.Config.Volumes}}')" == *"/var/lib/trisect"* ]]
health="$(said '{{.Docker.Config.Healthcheck.Test}}')"
[[ "$health" == "[CMD trisect job list --limit 1]" ]]

# As its user, on the port it exposes, in a network of its own.
container="$(containers from --pull-never trisect)"
unshare --net sleep 600 &
inside=$!
within() { nsenter --target "$inside" --net "$@"; }
for _ in $(seq 100); do [[ "$(readlink "/proc/$inside/ns/net")" != "$(readlink /proc/self/ns/net)" ]] && break; sleep 0.05; done
within ip link set lo up
run() { within buildah --storage-driver vfs --root "$work/store" --runroot "$work/run" run --isolation chroot --user "$user" "$container" "$@"; }
token="$(run /usr/bin/trisectd token add office --role manage --file /var/lib/trisect/tokens.toml | tr -d '\r')"
run /usr/bin/trisectd serve --config /etc/trisect/trisectd.toml >"$work/said" 2>&1 &
serving=$!
for _ in $(seq 200); do
    grep -q '^listening' "$work/said" && break
    kill -0 "$serving" || { cat "$work/said" >&2; exit 1; }
    sleep 0.05
done
# Its health check. Loopback may read, and nothing else; the token may manage.
run trisect job list --limit 1 >/dev/null
! run trisect job open bay-1 "Unit 14" --by "a test" >"$work/refused" 2>&1
grep -q 'not-permitted' "$work/refused"
run trisect --token "$token" job open bay-1 "Unit 14" --by "a test" >/dev/null
[[ "$(run trisect job list)" == *"Unit 14"* ]]
echo "container: built by buildah (compiler and registry replaced by stand-ins); its health check, a token and a job work in it"
