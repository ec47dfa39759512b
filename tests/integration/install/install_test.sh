#!/usr/bin/env bash
# cmake --install into a folder of its own gives a tree that works by itself, wherever it stands: the program finds its
# plugins and care sheets, the examples pass, the unit names this tree's program.
#   install_test.sh CMAKE BUILD_FOLDER
set -euo pipefail
cmake=$1
build=$2
root=$(mktemp -d)
trap 'rm -rf "$root"' EXIT
prefix=$root/usr

fail() {
  echo "FAILED: $1" >&2
  exit 1
}
holds() { # file, text
  grep -qF -- "$2" "$1" || { cat "$1" >&2; fail "$1 does not hold: $2"; }
}

"$cmake" --install "$build" --prefix "$prefix" >"$root/install.log" || { cat "$root/install.log"; fail "cmake --install"; }
program=$prefix/bin/baskwell
[[ -x $program ]] || fail "no $program"
for plugin in plain json email webhook command; do
  [[ -n $(find "$prefix/lib" -name "$plugin.so" -path '*/baskwell/plugins/*') ]] || fail "no plugin $plugin"
done

# The tree's own: nothing of the build folder is looked at.
"$program" check "$prefix/share/baskwell/examples/one-enclosure.toml" >"$root/example.txt" || {
  cat "$root/example.txt" >&2
  fail "the installed example has errors"
}
holds "$root/example.txt" "0 errors, 0 warnings"

# Settings elsewhere, as /etc/baskwell/room.toml, without a word of folders.
mkdir "$root/etc"
grep -v '^care.folders' "$prefix/share/baskwell/examples/one-enclosure.toml" >"$root/etc/room.toml"
"$program" check "$root/etc/room.toml" >"$root/check.txt" || { cat "$root/check.txt" >&2; fail "care sheets or plugins are not found"; }
holds "$root/check.txt" "0 errors, 0 warnings"
# And with the folder of plugins told, from a folder that moved.
mv "$prefix" "$root/opt"
plugins=$(dirname "$(find "$root/opt/lib" -name email.so)")
{ cat "$root/etc/room.toml"; printf '[service]\nplugins = ["%s"]\n' "$plugins"; } >"$root/etc/moved.toml"
"$root/opt/bin/baskwell" check "$root/etc/moved.toml" >"$root/moved.txt" || { cat "$root/moved.txt" >&2; fail "the moved tree does not work"; }

# It can fail: without the plugin it says so.
rm "$plugins/email.so"
if "$root/opt/bin/baskwell" check "$root/etc/moved.toml" >"$root/without.txt"; then fail "a missing plugin went unnoticed"; fi
holds "$root/without.txt" "no plugin named 'email'"

unit=$root/opt/lib/systemd/system/baskwell.service
holds "$unit" "ExecStart=$prefix/bin/baskwell run --settings /etc/baskwell/room.toml"
holds "$unit" "ExecStartPre=$prefix/bin/baskwell check /etc/baskwell/room.toml"
if grep -q '@' "$unit"; then fail "the unit holds a mark that was not filled in"; fi
echo "installed: $(find "$root/opt" -type f | wc -l) files"
