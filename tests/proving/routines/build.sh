#!/usr/bin/env bash
# Builds the routines whose proofs are known: routines.elf from the assembly,
# detect-*.elf from detect.c, edits/NAME.elf from the demo's source with
# edits/NAME.patch, and sizes/NAME-SIZE.elf from the demo's source with
# harness/defects/NAME.patch and more products in its table, SIZE in all.
#
#   build.sh           writes them beside this script
#   build.sh --check   builds elsewhere and compares with the committed ones
#
# Needs Debian's binutils-m68k-linux-gnu, gcc-m68k-linux-gnu, and patch. The
# committed files were built with binutils 2.40 and GCC 12.2.0; another compiler
# may make other code of detect.c, and --check says so.

set -euo pipefail
export LC_ALL=C

built_with="binutils 2.40, GCC 12.2.0"
tools=m68k-linux-gnu
here=tests/proving/routines

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

for tool in "$tools-as" "$tools-ld" "$tools-gcc" patch; do
    if ! command -v "$tool" >/dev/null; then
        echo "build.sh: $tool not found; install gcc-m68k-linux-gnu and patch" >&2
        exit 2
    fi
done

work=$(mktemp -d)
trap 'rm -rf -- "$work"' EXIT
mkdir "$work/edits" "$work/sizes"
files=()

assemble() {    # NAME: NAME.s of the current folder to the work folder
    "$tools-as" -m68000 --register-prefix-optional --fatal-warnings -o "$work/$1.o" "$1.s"
}

link() {        # SCRIPT ELF OBJECT ...
    "$tools-ld" -n -z noexecstack --build-id=none --fatal-warnings -T "$1" -o "$2" "${@:3}"
}

objects=()
for name in start tables texts fields ports faults pairs; do
    assemble "$name"
    objects+=("$work/$name.o")
done
link routines.ld "$work/routines.elf" "${objects[@]}"
files+=(routines.elf)

# The compiler's assembler gets a file with a random name: it must not say so.
# Nor may an absolute path get into the ELF: the directory is called `.`. No
# loop may become a call of a library that is not there.
build_c() {     # NAME OPTION ...: detect.c to detect-NAME.elf
    local name=detect-$1
    shift
    "$tools-gcc" "$@" -m68000 -ffreestanding -Wall -Wextra -Werror -g -gdwarf-5 -gno-record-gcc-switches \
        -fno-tree-loop-distribute-patterns -fno-asynchronous-unwind-tables -ffile-prefix-map="$PWD=." \
        -S -o "$work/$name.s" detect.c
    (cd "$work" && assemble "$name")
    link routines.ld "$work/$name.elf" "$work/start-c.o" "$work/$name.o"
    files+=("$name.elf")
}

assemble start-c
build_c O0 -O0
build_c O1 -O1
build_c O2 -O2
build_c Os -Os
build_c changed -O2 -DCHANGED
build_c latch -O2 -DLATCH_LEFT_ON

demo=../../../harness

# A changed demo has no debug information: its lines would be those of a source
# that nobody has. A patch applies as it stands or not at all.
copy_demo() {   # COPY [PATCH ...]: the demo's source to a new folder, then each patch
    local copy=$1 file
    mkdir "$copy"
    cp -- "$demo"/{*.s,*.inc,aria.ld} "$copy"
    for file in "${@:2}"; do
        if ! patch -p2 -s -F0 -r - -d "$copy" <"$file" >&2; then
            echo "build.sh: $here/$file does not apply: make it anew for the present source" >&2
            exit 1
        fi
    done
}

link_demo() {   # COPY ELF OPTION ...
    local copy=$1 elf=$2 name objects=()
    for name in aria detect modes picture convert ram; do
        objects+=("$copy/$name.o")
    done
    "$tools-ld" -n --build-id=none --fatal-warnings "${@:3}" -T "$copy/aria.ld" -o "$work/$elf" "${objects[@]}"
    files+=("$elf")
}

assemble_demo() {   # COPY OPTION ...
    local copy=$1 name
    for name in aria detect modes picture convert ram; do
        (cd -- "$copy" && "$tools-as" -m68000 --register-prefix-optional --fatal-warnings "${@:2}" \
            -o "$name.o" "$name.s") || {
            echo "build.sh: with the patches of $(basename -- "$copy") the source does not build" >&2
            exit 1
        }
    done
}

shopt -s nullglob
for file in edits/*.patch; do
    name=$(basename -- "$file" .patch)
    copy_demo "$work/$name" "$file"
    assemble_demo "$work/$name"
    link_demo "$work/$name" "edits/$name.elf"
done

# The demo has five products. Local names are left out: every entry has one.
build_sizes() { # NAME [PATCH]
    local name=$1 size copy
    for size in 20 80; do
        copy=$work/$name-$size
        copy_demo "$copy" "${@:2}" sizes/more.patch
        cp -- sizes/more.inc "$copy"
        assemble_demo "$copy" --defsym "MORE=$((size - 5))"
        link_demo "$copy" "sizes/$name-$size.elf" --discard-all
    done
}

build_sizes whole
for file in "$demo"/defects/*.patch; do
    build_sizes "$(basename -- "$file" .patch)" "$file"
done

if [ "$check" = no ]; then
    for file in "${files[@]}"; do
        install -m 644 "$work/$file" "$file"
    done
    exit 0
fi

differ=0
for file in edits/*.elf; do
    if [ ! -f "${file%.elf}.patch" ]; then
        echo "build.sh: $here/$file has no patch any more: remove it" >&2
        differ=1
    fi
done
for file in sizes/*.elf; do
    if [ ! -f "$work/$file" ]; then
        echo "build.sh: $here/$file is not built any more: remove it" >&2
        differ=1
    fi
done
for file in "${files[@]}"; do
    if ! cmp -s -- "$work/$file" "$file"; then
        echo "build.sh: $here/$file is not what its source builds: run $here/build.sh and commit it" >&2
        differ=1
    fi
done
if [ "$differ" = 1 ]; then
    echo "build.sh: committed with $built_with; this is" \
        "$("$tools-as" --version | head -n 1); $("$tools-gcc" --version | head -n 1)" >&2
fi
exit "$differ"
