#!/usr/bin/env bash
# Builds the demo host ROM: aria.elf, and patch.bin behind its latch. Then the
# broken variants of it: defects/NAME.elf with defects/NAME.patch.
#
#   build.sh           writes them beside this script
#   build.sh --check   builds elsewhere and compares with the committed ones
#
# Needs Debian's binutils-m68k-linux-gnu and patch. The same assembler gives the
# same bytes in every directory. The committed files were built with version
# 2.40; another version names itself in the debug information, and --check says
# so.

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

if ! command -v patch >/dev/null; then
    echo "build.sh: patch not found; install patch" >&2
    exit 2
fi

work=$(mktemp -d)
trap 'rm -rf -- "$work"' EXIT
mkdir "$work/defects"

assemble() {    # NAME OUT [option ...]: NAME.s to OUT/NAME.o
    local name=$1 out=$2
    shift 2
    "$tools-as" -m68000 --register-prefix-optional --fatal-warnings \
        "$@" -o "$out/$name.o" "$name.s"
}

build_rom() {   # OUT ELF [option ...]: the sources of this directory to ELF, by way of OUT
    local out=$1 elf=$2 name objects=()
    shift 2
    for name in aria detect modes picture convert ram; do
        assemble "$name" "$out" "$@" || return
        objects+=("$out/$name.o")
    done
    "$tools-ld" -n --build-id=none --fatal-warnings -T aria.ld -o "$elf" "${objects[@]}"
}

# No absolute path may get into the ELF: the directory is called `.`.
build_rom "$work" "$work/aria.elf" --gdwarf-5 --debug-prefix-map="$PWD=."

assemble patch "$work"
"$tools-objcopy" -O binary -j .text "$work/patch.o" "$work/patch.bin"
files=(aria.elf patch.bin)

# A broken variant has no debug information: its lines would be those of a
# source that nobody has, and be shown as lines of the committed one. A patch
# applies as it stands or not at all.
build_defect() {    # NAME
    local copy=$work/$1 file=harness/defects/$1.patch
    mkdir "$copy"
    cp -- *.s *.inc aria.ld "$copy"
    if ! patch -p2 -s -F0 -r - -d "$copy" <"defects/$1.patch" >&2; then
        echo "build.sh: $file does not apply: make it anew for the present source" >&2
        exit 1
    fi
    if ! (cd -- "$copy" && build_rom . "$work/defects/$1.elf"); then
        echo "build.sh: with $file the source does not build" >&2
        exit 1
    fi
}

shopt -s nullglob
for file in defects/*.patch; do
    name=$(basename -- "$file" .patch)
    build_defect "$name"
    files+=("defects/$name.elf")
done

# The debug information aside: what the CPU runs, and what a harness names.
content() {     # ELF
    "$tools-objcopy" -O binary -j .vectors -j .header -j .text "$1" "$work/rom.bin"
    cksum <"$work/rom.bin"
    "$tools-nm" "$1"
}

if [ "$check" = no ]; then
    for file in "${files[@]}"; do
        install -m 644 "$work/$file" "$file"
    done
    exit 0
fi

differ=0
for file in defects/*.elf; do
    if [ ! -f "${file%.elf}.patch" ]; then
        echo "build.sh: harness/$file has no patch any more: remove it" >&2
        differ=1
    fi
done
for file in "${files[@]}"; do
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
