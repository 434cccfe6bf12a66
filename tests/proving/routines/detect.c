/* The demo's detection in C, to be built at four levels of optimisation that must not differ in what they do. The exits
 * are functions, so that they have the same names in every build.
 *
 * -DCHANGED knows one product more, AW-2100-03. -DLATCH_LEFT_ON leaves the latch on for the drum library.
 */

typedef unsigned char byte;
typedef unsigned short word;

struct header {
    byte signature[16];
    byte titles[112];
    byte product[14];
};

struct entry {
    char code[14];
    word mode;
};

enum { ALONE, COMBINATION, PATCHED, NOISE, REFUSED };

#define ATTACHED    ((const struct header *)0x200100)
#define LATCH       (*(volatile byte *)0xB00001)
#define PEDAL       (*(const volatile byte *)0xB00003)
#define PATCH_TABLE ((const volatile byte *)0x280100)
#define POLLS       50

/* In start-c.s: the same places in every build. */
extern const byte own_signature[16], own_product[14];
extern volatile word voices, mode, preset, all_presets, notice;
extern volatile byte format_table[64];

const struct entry products[] = {
    {"AW-3200-00    ", COMBINATION},
    {"AW-2100-00    ", PATCHED},
    {"AW-2100-01    ", PATCHED},
    {"AW-2100-02    ", PATCHED},
#ifdef CHANGED
    {"AW-2100-03    ", PATCHED},
#endif
    {"AW-2100-0B    ", PATCHED},
};

#define PRODUCTS ((int)(sizeof products / sizeof products[0]))

#define EXIT(name, number)                              \
    __attribute__((noinline, noclone, noreturn)) void name(void) \
    {                                                   \
        for (;;)                                        \
            voices = number;                            \
    }

EXIT(mode_alone, 16)
EXIT(mode_combination, 32)
EXIT(mode_patched, 24)
EXIT(mode_noise, 17)
EXIT(mode_refused, 0)

static int same(const byte *a, const byte *b, int length)
{
    int i;

    for (i = 0; i < length; i++)
        if (a[i] != b[i])
            return 0;
    return 1;
}

static const struct entry *find(const byte *code)
{
    int i;

    for (i = 0; i < PRODUCTS; i++)
        if (same(code, (const byte *)products[i].code, 14))
            return &products[i];
    return 0;
}

static int pedal_pressed(void)
{
    int i;

    for (i = 0; i < POLLS; i++)
        if (PEDAL & 1)
            return 1;
    return 0;
}

static word hash(const byte *code)
{
    byte sum = 0;
    int i;

    for (i = 0; i < 14; i++)
        sum = (byte)(sum << 1 | sum >> 7) ^ code[i];
    return sum & 7;
}

static void take_table(void)
{
    int i;

    LATCH = 1;
    for (i = 0; i < 64; i++)
        format_table[i] = PATCH_TABLE[i];
#ifndef LATCH_LEFT_ON
    LATCH = 0;
#endif
}

void detect(void)
{
    const struct entry *entry;

    mode = ALONE;
    preset = 0;
    all_presets = 0;
    notice = 0;
    if (!same(ATTACHED->signature, own_signature, 16))
        mode_alone();

    entry = find(ATTACHED->product);
    if (entry) {
        if (entry->mode == PATCHED)
            take_table();
        mode = entry->mode;
        if (mode == PATCHED)
            mode_patched();
        mode_combination();
    }

    if (!same(ATTACHED->product, own_product, 3)) {
        preset = hash(ATTACHED->product);
        mode = NOISE;
        mode_noise();
    }
    notice = 1;
    if (pedal_pressed()) {
        all_presets = 1;
        mode = NOISE;
        mode_noise();
    }
    mode = REFUSED;
    mode_refused();
}
