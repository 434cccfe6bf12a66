#!/usr/bin/env bash
# Builds the demo host ROM: aria.elf, and patch.bin behind its latch.
#
#   build.sh           writes both beside this script
#   build.sh --check   builds elsewhere and compares with the committed ones
#
# Needs Debian's binutils-m68k-linux-gnu. The same assembler gives the same
# bytes in every directory. The committed files were built with version 2.40;
# another version names itself in the debug information, and --check says so.

set -euo pipefail
export LC_ALL=C

built_with=2.40
tools=m68k-linux-gnu

check=no
case "${1-}" in
    '') ;;
    --check) check=yes; shift ;;
    *) echo "usage: build.sh [--check]" >&2; exit 2 ;;
esac
if [ $# -gt 0 ]; then
    echo "usage: build.sh [--check]" >&2
    exit 2
fi

cd -- "$(dirname -- "${BASH_SOURCE[0]}")"

for tool in as ld objcopy nm; do
    if ! command -v "$tools-$tool" >/dev/null; then
        echo "build.sh: $tools-$tool not found; install binutils-m68k-linux-gnu" >&2
        exit 2
    fi
done

work=$(mktemp -d)
trap 'rm -rf -- "$work"' EXIT

assemble() {    # NAME [option ...]: NAME.s to $work/NAME.o
    local name=$1
    shift
    "$tools-as" -m68000 --register-prefix-optional --fatal-warnings \
        "$@" -o "$work/$name.o" "$name.s"
}

# No absolute path may get into the ELF: the directory is called `.`.
objects=()
for name in aria detect modes picture convert ram; do
    assemble "$name" --gdwarf-5 --debug-prefix-map="$PWD=."
    objects+=("$work/$name.o")
done
"$tools-ld" -n --build-id=none --fatal-warnings -T aria.ld -o "$work/aria.elf" "${objects[@]}"

assemble patch
"$tools-objcopy" -O binary -j .text "$work/patch.o" "$work/patch.bin"

# The debug information aside: what the CPU runs, and what a harness names.
content() {     # ELF
    "$tools-objcopy" -O binary -j .vectors -j .header -j .text "$1" "$work/rom.bin"
    cksum <"$work/rom.bin"
    "$tools-nm" "$1"
}

if [ "$check" = no ]; then
    for file in aria.elf patch.bin; do
        install -m 644 "$work/$file" "$file"
    done
    exit 0
fi

differ=0
for file in aria.elf patch.bin; do
    if [ ! -f "$file" ]; then
        echo "build.sh: harness/$file is missing: run harness/build.sh and commit it" >&2
        differ=1
    elif ! cmp -s -- "$work/$file" "$file"; then
        echo "build.sh: harness/$file is not what its source builds:" \
            "run harness/build.sh and commit it" >&2
        differ=1
        if [ "$file" = aria.elf ] &&
            [ "$(content "$work/aria.elf")" = "$(content aria.elf)" ]; then
            echo "build.sh: code and symbols are the same, only the debug information differs" >&2
            version=$("$tools-as" --version | head -n 1)
            case "$version" in
                *" $built_with"*) ;;
                *) echo "build.sh: committed with binutils $built_with, this is: $version" >&2 ;;
            esac
        fi
    fi
done
exit "$differ"
