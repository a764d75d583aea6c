# Sourced by demo_sites/run and tests/run, which set root, packages (Debian's names) and extra ("" or "dev").
# Makes $root/.venv, once: a stamp says for which pyproject.toml, Python and place it was made.

say() { printf 'leachbook: %s\n' "$*" >&2; }
stop() { say "$@"; exit 2; }

missing=
if command -v dpkg-query >/dev/null; then
    # One name that dpkg does not know must not hide the others.
    present=$(dpkg-query -W -f '${Package}=${db:Status-Status}\n' $packages 2>/dev/null || :)
    for package in $packages; do
        case $present in *"$package=installed"*) ;; *) missing="$missing $package" ;; esac
    done
fi
if [ -n "$missing" ] && [ "$(id -u)" != 0 ]; then
    stop "system packages are missing, type: sudo apt-get install -y$missing"
elif [ -n "$missing" ]; then
    say "installing$missing"
    export DEBIAN_FRONTEND=noninteractive LC_ALL=C.UTF-8
    { apt-get -qq update && apt-get -qq install -y --no-install-recommends $missing; } >/dev/null ||
        stop "apt-get could not install$missing: mend what it says above, then start again"
fi

python=
for candidate in /usr/bin/python3 python3 python3.14 python3.13 python3.12 python3.11; do
    "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && python=$candidate && break
done
[ -n "$python" ] || stop "Python 3.11 or newer is needed: install it as python3"

# pip's scripts carry the folder in their first line, and libraries lie below the version.
place="$root $("$python" -V)"
stamp="$place $(cksum <"$root/pyproject.toml")"
made=$(cat "$root/.venv/made-in" 2>/dev/null || printf %s "$place")
# What tests need holds what the demo needs.
if ! grep -qsxF "$stamp" "$root/.venv/stamp-dev" "$root/.venv/stamp-$extra"; then
    say "setting up .venv (a minute or less; the next time it is there)"
    # Without a home of one's own pip would complain about its cache.
    [ -w "${HOME-}" ] || export PIP_NO_CACHE_DIR=1
    [ "$made" = "$place" ] || rm -rf "$root/.venv"
    { "$python" -m venv "$root/.venv" && printf '%s' "$place" >"$root/.venv/made-in" &&
        "$root/.venv/bin/python" -m pip install -q --disable-pip-version-check -e "$root${extra:+[$extra]}"; } >&2 ||
        stop "the set-up did not work: mend what it says above, then start again"
    printf '%s\n' "$stamp" >"$root/.venv/stamp-$extra"
fi
