#!/usr/bin/env bash
# The Debian package: made by cargo-deb from the programs that were built, installed by dpkg into a bare Debian
# root, and the service answering from there; then an upgrade and a removal.
#
# usage: package.sh TARGET OUTSIDE REPOSITORY
# A bare root is a Debian of essential packages (mmdebstrap); without root or mmdebstrap the package is made and
# looked at, and that it was not installed is said.
set -euo pipefail

target="$1" outside="$2" repository="$3"
tools="$outside/tools"
wanted="3.8.0"
if [[ "$("$tools/bin/cargo-deb" --version 2>/dev/null)" != *"$wanted" ]]; then
    cargo install cargo-deb --version "$wanted" --locked --force --quiet --root "$tools" --target-dir "$tools/build"
fi
package="$outside/trisect.deb"
# The package is of release programs; these were built for the tests, which is all the same to it.
built="$outside/built"
mkdir -p "$built/release"
cp "$target/debug/trisectd" "$target/debug/trisect" "$built/release/"
strip "$built/release/trisectd" "$built/release/trisect"
"$repository/deploy/documents" "$target/debug"
CARGO_TARGET_DIR="$built" PATH="$tools/bin:$PATH" cargo deb --manifest-path "$repository/service/daemon/Cargo.toml" \
    --no-build --no-strip --fast --output "$package" >/dev/null
contents="$(dpkg-deb --contents "$package")"
for path in ./usr/bin/trisectd ./usr/bin/trisect ./lib/systemd/system/trisectd.service \
    ./lib/systemd/system/trisectd.socket ./lib/udev/rules.d/60-trisect.rules ./etc/trisect/trisectd.toml \
    ./usr/share/bash-completion/completions/trisect ./usr/share/zsh/vendor-completions/_trisect \
    ./usr/share/fish/vendor_completions.d/trisect.fish ./usr/share/man/man1/trisect.1.gz \
    ./usr/share/man/man1/trisect-job-open.1.gz ./usr/share/man/man8/trisectd.8.gz \
    ./usr/share/man/man8/trisectd-serve.8.gz; do
    grep -q " $path\$" <<<"$contents" || { echo "package: $path is missing" >&2; exit 1; }
done
[[ "$(dpkg-deb --field "$package" Depends)" == *libc6* ]]

if [[ "$(id -u)" != 0 ]] || ! command -v mmdebstrap >/dev/null; then
    echo "package: made; not installed, as that needs root and mmdebstrap"
    exit 0
fi
work="$(mktemp -d)"
daemon=""
finish() {
    [[ -z "$daemon" ]] || kill "$daemon" 2>/dev/null || true
    rm -rf "$work"
}
trap finish EXIT
bare="$outside/bare.tar"
[[ -e "$bare" ]] || mmdebstrap --quiet --variant=essential --include=passwd bookworm "$bare"
tar --extract --file "$bare" --directory "$work" --exclude './dev/*'

dpkg --root="$work" --install "$package" >/dev/null
bash -n "$work/usr/share/bash-completion/completions/trisect"
for page in "$work"/usr/share/man/man[18]/trisect*.gz; do
    gzip --decompress --stdout "$page" | grep -q '^\.TH trisect' || { echo "package: $page is no man page" >&2; exit 1; }
done
chroot "$work" /usr/bin/trisectd check-config --config /etc/trisect/trisectd.toml
[[ "$(stat -c %U:%a "$work/var/lib/trisect" 2>/dev/null || true)" == *:750 ]]
# As the user the package made, on a free port.
id="$(chroot "$work" id -u trisect)"
chroot --userspec="$id:$id" "$work" /usr/bin/trisectd serve --config /etc/trisect/trisectd.toml --listen 127.0.0.1:0 \
    --log warn >"$work/said" &
daemon=$!
for _ in $(seq 200); do
    grep -q '^listening' "$work/said" && break
    kill -0 "$daemon"
    sleep 0.05
done
server="ws://$(sed -n 's|^listening on http://\(.*\)$|\1|p' "$work/said" | head -1)"
chroot "$work" /usr/bin/trisect --server "$server" job open bay-1 "Unit 14" --by "a test" >/dev/null
[[ "$(chroot "$work" /usr/bin/trisect --server "$server" job list)" == *"Unit 14"* ]]
kill "$daemon"
wait "$daemon"
daemon=""
# Once more, as an upgrade: the configuration and the journal stay.
echo '# changed by the shop' >>"$work/etc/trisect/trisectd.toml"
dpkg --root="$work" --install "$package" >/dev/null
grep -q 'changed by the shop' "$work/etc/trisect/trisectd.toml"
dpkg --root="$work" --purge trisect >/dev/null 2>&1
[[ ! -e "$work/usr/bin/trisectd" && ! -e "$work/etc/trisect" && -s "$work/var/lib/trisect/journal.db" ]]
echo "package: installed into a bare root, answers from it, upgraded, purged; the journal stays"
