/* ADS1220, after its data sheet (SBAS501): commands, four registers, SPI mode 1, a conversion settled after one period, the
 * ready line low until the first clock of its reading, high for a moment before the next. Faults by words: absent, gain (a
 * register that does not keep what is written), open (the ready line is not connected and is pulled high). */
#include "SPI.h"

static uint8_t regs[4];
static bool chosen, ready;
static double reset_us = -1e9, next_us = 1e18, period_us, bit_us = 1.0, reading_us = -1;
static uint8_t mode;
static int32_t result;
static int at, writes_left, reads_left, reg, bytes_out;
static void pass(double by_us);

static void line(bool level)
{
    if (!told("open"))
        set_ready_line(level);
}

static void start()
{
    static const double RATES[] = {20, 45, 90, 175, 330, 600, 1000, 1000};
    seen.starts++;
    period_us = 1e6 / RATES[regs[1] >> 5];
    ready = false;
    line(true);
    next_us = us + period_us + 210.0 / 4.096;
}

void converter_passes()
{
    if (us < next_us)
        return;
    next_us = regs[1] & 0x04 ? next_us + period_us : 1e18;
    seen.conversions++;
    seen.untaken += ready;
    seen.torn += reading_us >= 0;
    result = cell();
    ready = true;
    line(true);
    line(false);
}

void converter_pin(int pin, bool level)
{
    if (pin != CS_PIN)
        return;
    chosen = !level;
    at = writes_left = reads_left = bytes_out = 0;
    reading_us = -1;
}

SPIClass SPI;
void SPIClass::begin() { set_ready_line(true); }
void SPIClass::beginTransaction(SPISettings settings) { mode = settings.mode, bit_us = 1e6 / settings.hz; }
void SPIClass::endTransaction() {}
uint8_t SPIClass::transfer(uint8_t byte)
{
    uint8_t out = 0;
    if (!chosen || told("absent"))
        return 0xFF;
    if (reads_left) {
        reads_left--;
        out = regs[reg++ & 3];
    } else if (writes_left) {
        writes_left--;
        regs[reg & 3] = told("gain") && reg == 0 ? (uint8_t)(byte & ~0x0E) : byte;
        reg++;
    } else if (us < reset_us + 50.0 + 32.0 / 4.096) {
        seen.early++;
    } else if (byte == 0x06) {
        memset(regs, 0, sizeof regs);
        reset_us = us;
        next_us = 1e18;
        ready = false;
        line(true);
    } else if (byte == 0x08) {
        start();
    } else if ((byte & 0xF0) == 0x40) {
        reg = byte >> 2 & 3, writes_left = (byte & 3) + 1;
    } else if ((byte & 0xF0) == 0x20) {
        reg = byte >> 2 & 3, reads_left = (byte & 3) + 1;
    } else if (byte == 0) { /* no command: what comes out is the conversion */
        if (bytes_out == 0) {
            seen.stray += !ready;
            reading_us = us;
        }
        out = (uint8_t)((uint32_t)result >> (16 - 8 * bytes_out));
        if (++bytes_out == 3) {
            seen.taken += ready;
            ready = false;
            reading_us = -1;
        }
        line(true);
    }
    pass(8 * bit_us);
    return mode == SPI_MODE1 ? out : (uint8_t)(out >> 1); /* in another mode each bit is taken a half clock off */
}
