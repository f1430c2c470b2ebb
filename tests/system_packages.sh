#!/bin/sh
# Installs what the tests drive and is no Python package, where it is missing. On
# systems other than Debian and its kin it says what to install.
#
# program   Debian packages
wanted='
chromium    chromium fonts-dejavu-core
exiftool    libimage-exiftool-perl
'
set -eu
missing=$(printf '%s' "$wanted" | while read -r program packages; do
  [ -z "$program" ] || command -v "$program" >/dev/null || printf '%s ' "$packages"
done)
[ -n "$missing" ] || exit 0
if ! command -v apt-get >/dev/null; then
  echo "the tests also need: $missing (names of Debian packages)" >&2
  exit 1
fi
as_root=$([ "$(id -u)" = 0 ] || echo sudo)
export DEBIAN_FRONTEND=noninteractive
$as_root apt-get update -qq
# shellcheck disable=SC2086 # several packages, several words
$as_root apt-get install -qq --yes --no-install-recommends $missing >/dev/null
