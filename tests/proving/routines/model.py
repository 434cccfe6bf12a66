#!/usr/bin/env python3
"""The routines of pairs.s and some of faults.s once more, in Python, written from what their comments say.

model.py          prints how many of the 65,536 pairs end in which way: the numbers in expected.md
model.py FOLDER   writes a suite for `keyway check` there that attaches every pair to every routine

What is not a branch is `crash`, `hang`, `unwritten` (reads RAM before writing it), `outside` (code of the cartridge
runs) or `latch` (left on).
"""
import pathlib
import sys
from collections import Counter

FOUR = ["combination", "patched", "noise", "refused"]
BROKEN = ["crash", "hang", "unwritten", "outside", "latch"]


def signed(value, bits=8):
    return value - (1 << bits) if value >> (bits - 1) & 1 else value


def pair_ranges(a, b):
    if a > 0xC0:
        if signed(b) >= 0:
            return "combination"
        if signed(b) < -16:
            return "patched"
        return "noise" if b < a else "refused"
    if a < 0x20:
        return "refused"
    if signed(a) > signed(b):
        return "noise"
    return "patched" if a <= b else "combination"


def pair_multiply(a, b):
    if a * b >= 0xC000:
        return "combination"
    product = signed(a) * signed(b)
    if product >= 0:
        return "noise" if product % 4 == 0 else "refused"
    return "patched" if product < -1000 else "refused"


def pair_divide_guarded(a, b):
    if b == 0:
        return "refused"
    quotient, remainder = divmod(16 * a + 7, b)
    if remainder == 0:
        return "combination"
    if quotient > 15:
        return "patched"
    return "noise" if quotient % 2 else "refused"


def pair_divide_unguarded(a, b):
    if b == 0:
        return "crash"
    return "refused" if (16 * a + 7) % b else "combination"


def pair_divide_handled(a, b):
    if b == 0:
        return "alone"
    a, b = signed(a), signed(b)
    quotient = abs(a) // abs(b)     # towards 0
    if quotient == 0:
        return "patched"
    if (a < 0) == (b < 0):
        return "combination"
    remainder = abs(a) % abs(b)
    return "noise" if a < 0 and remainder else "refused"


def pair_divide_overflow(a, b):
    if b == 0:
        return "alone"
    quotient, remainder = divmod(65536 * a + 1, b)
    if quotient > 0xFFFF:
        return "refused"
    if quotient < 0x8000:
        return "patched"
    return "combination" if remainder == 1 else "noise"


def pair_shift(a, b):
    count = b % 64
    twice = a << 8 | a
    result = 0

    value, changed = twice, False       # asl.w
    for _ in range(count):
        after = value << 1 & 0xFFFF
        changed |= (after ^ value) >> 15 == 1
        value = after
    result += changed

    out = twice >> (count - 1) & 1 if count else 0      # lsr.w
    result += 2 * out

    turned = twice                      # rol.w
    for _ in range(count):
        turned = (turned << 1 | turned >> 15) & 0xFFFF
    result ^= turned

    result ^= signed(twice, 16) >> count & 0xFFFF       # asr.w

    value, extend = twice, 1            # roxl.w
    for _ in range(count):
        value, extend = (value << 1 | extend) & 0xFFFF, value >> 15
    result ^= value

    value, extend = a, 0                # roxr.b
    for _ in range(count):
        value, extend = value >> 1 | extend << 7, value & 1
    result += extend

    result += a << count & 0xFF == 0    # lsl.b
    result &= 0xFFFF
    result ^= result >> 4
    return FOUR[result & 3]


def pair_decimal(a, b):
    if any(digit > 9 for digit in (a & 15, a >> 4, b & 15, b >> 4)):
        return "refused"
    first, second = int(f"{a:x}"), int(f"{b:x}")
    if first + second > 99:
        return "combination"
    if first + second >= 50:
        return "patched"
    if second - first - 1 < 0:
        return "noise"
    return "alone" if second - first - 1 < 10 else "refused"


def pair_extended(a, b):
    joined = a << 8 | b
    total = (joined << 16 | joined ^ 0xFFFF) + (signed(b) & 0xFFFFFFFF)
    if total >> 32:
        bits = total & 0xFF ^ total >> 16 & 0xFF
        return "refused" if bits >> 3 & 1 else "alone"
    first = -a & 0xFF
    second = -b - (a != 0)
    borrow = second < 0
    last = (second & 0xFF) - first - borrow
    if first == 0 and second & 0xFF == 0 and last & 0xFF == 0:
        return "combination"
    return "patched" if last < 0 else "noise"


def pair_jump(a, b):
    last = "patched" if b >= 0x80 else "refused"
    return ["combination", "patched", "noise", "combination", "refused", "crash", "combination", last][a & 7]


def pair_lookup(a, b):
    value = (a * a + 7 * a + 3) & 0xFF ^ b
    return "alone" if value == 0xA5 else FOUR[value & 3]


def pair_stack(a, b):
    if a == b:
        return "alone"
    total = 0
    for _ in range((a & 15) + 1):
        total += b
        if total >= 0x400:
            break
    return FOUR[total >> 6 & 3]


def pair_hang(a, b):
    if a == 0x5A:
        return "hang"
    return "patched" if b >= a else "refused"


def pair_hang_odd(a, b):
    return "hang" if a % 2 else "patched"


def pair_bits(a, b):
    value = 0xFF if a >> (b & 7) & 1 else 0
    stored = a | 1 << (b & 7)
    if stored & 0x80:
        value ^= 0x40
        stored &= 0x7F
    if b & 31 != 8:
        value ^= 0xFF
    if not stored & 1:
        value >>= 5
    return FOUR[value & 3]


def pair_conditions(a, b):
    n, z, v, c = (a >> bit & 1 for bit in (3, 2, 1, 0))
    met = [
        True, False, not c and not z, c or z, not c, c, not z, z, not v, v, not n, n,
        n == v, n != v, not z and n == v, z or n != v,
    ][b & 15]
    return "noise" if met else "refused"


def pair_check(a, b):
    a, b = signed(a), signed(b)
    if a < 0 or a > b:
        return "refused"
    return "combination" if a == b else "patched"


def pair_traps(a, b):
    if not -128 <= signed(a) + signed(b) <= 127:
        return "noise"
    return "patched" if a & 1 else "combination"


def pair_memory(a, b):
    return FOUR[(b if a & 15 == b >> 4 else b >> 4) & 3]


def pair_unwritten(a, b):
    return "unwritten" if a & 1 else "patched"


def pair_call(a, b):
    return "outside" if a == 0xC0 else "refused"


def pair_latch(a, b):
    if a & 1 == 0:
        return "refused"
    return "patched" if b else "latch"


def odd_word(a, b):
    if a != 1:
        return "refused"
    return "crash" if b & 1 else "noise"


def contradictions(a, b):
    return "combination" if a == 0x41 else "refused"


ROUTINES = {
    name: value
    for name, value in list(globals().items())
    if name.startswith("pair_") or name in ("odd_word", "contradictions")
}
ROUTINES["pair_hang_counted"] = pair_hang


def counts():
    for name, model in sorted(ROUTINES.items()):
        ends = Counter(model(a, b) for a in range(256) for b in range(256))
        print(f"{name}: " + ", ".join(f"{end} {ends[end]:,}" for end in FOUR + ["alone"] + BROKEN if ends[end]))


def suites(folder):
    harness = pathlib.Path(__file__).resolve().parent / "harness"
    for name, model in sorted(ROUTINES.items()):
        lines = [f"harness: {harness}/{name}.yaml", "cases:"]
        for a in range(256):
            ends = {}
            for b in range(256):
                ends.setdefault(model(a, b), []).append(f'"{b:02X}"')
            for end, seconds in ends.items():
                lines.append(f"  - name: {a:02X}{{b}} {end}")
                lines.append(f"    for: {{b: [{', '.join(seconds)}]}}")
                lines.append(f'    attach: {{header: {{at: 0x190, hex: "{a:02X}{{b}}"}}}}')
                if end in BROKEN:
                    lines.append(f"    known-bug: {end}")
                    lines.append("    expect: {branch: [refused, patched, noise]}")
                else:
                    lines.append(f"    expect: {{branch: {end}}}")
        (pathlib.Path(folder) / f"{name}.yaml").write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    suites(sys.argv[1]) if len(sys.argv) > 1 else counts()
