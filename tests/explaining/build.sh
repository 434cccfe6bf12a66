#!/usr/bin/env bash
# Builds the example ROM of the explanations: shapes.elf, and patch.bin.
#
#   build.sh           writes both beside this script
#   build.sh --check   builds elsewhere and compares with the committed ones
#
# Needs Debian's binutils-m68k-linux-gnu and gcc-m68k-linux-gnu. The committed
# files were built with binutils 2.40 and GCC 12.2.0; another compiler may make
# other code of shape.c, and --check says so.

set -euo pipefail
export LC_ALL=C

built_with="binutils 2.40, GCC 12.2.0"
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

for tool in as ld objcopy gcc; do
    if ! command -v "$tools-$tool" >/dev/null; then
        echo "build.sh: $tools-$tool not found; install gcc-m68k-linux-gnu" >&2
        exit 2
    fi
done

work=$(mktemp -d)
trap 'rm -rf -- "$work"' EXIT

# No absolute path may get into the ELF: the directory is called `.`.
objects=()
for name in shapes texts numbers waiting traps; do
    "$tools-as" -m68000 --register-prefix-optional --fatal-warnings \
        --gdwarf-5 --debug-prefix-map="$PWD=." -o "$work/$name.o" "$name.s"
    objects+=("$work/$name.o")
done

# The compiler's assembler gets a file with a random name: it must not say so.
"$tools-gcc" -O2 -m68000 -ffreestanding -Wall -Wextra -Werror -g -gdwarf-5 -gno-record-gcc-switches \
    -fno-asynchronous-unwind-tables -ffile-prefix-map="$PWD=." -S -o "$work/shape.s" shape.c
(cd "$work" && "$tools-as" -m68000 --fatal-warnings -o shape.o shape.s)
objects+=("$work/shape.o")

"$tools-ld" -n -z noexecstack --build-id=none --fatal-warnings -T shapes.ld -o "$work/shapes.elf" "${objects[@]}"

"$tools-as" -m68000 --fatal-warnings -o "$work/patch.o" patch.s
"$tools-objcopy" -O binary -j .text "$work/patch.o" "$work/patch.bin"

if [ "$check" = no ]; then
    for file in shapes.elf patch.bin; do
        install -m 644 "$work/$file" "$file"
    done
    exit 0
fi

differ=0
for file in shapes.elf patch.bin; do
    if ! cmp -s -- "$work/$file" "$file"; then
        echo "build.sh: tests/explaining/$file is not what its source builds:" \
            "run tests/explaining/build.sh and commit it" >&2
        echo "build.sh: committed with $built_with; this is" \
            "$("$tools-as" --version | head -n 1); $("$tools-gcc" --version | head -n 1)" >&2
        differ=1
    fi
done
exit "$differ"
