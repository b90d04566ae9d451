/* NAU7802, after its data sheet, revision 1.7: register map, power-up of 200 us, conversions from CS on at the rate of CRS,
 * CR and the ready line until the lowest byte is read. Faults by words: absent, unpowered, gain (a register that does not
 * keep what is written), open (the ready line is not connected and floats high). */
#include "Wire.h"

static uint8_t regs[0x20], pointer_, answer[8];
static uint8_t sent_bytes[8];
static int sent_count, answer_count, answer_at;
static double powered_us = -1, next_us = 1e18, period_us, byte_us = 90.0, reading_us = -1;
static int32_t result;
static long since_start;
static uint8_t address_;
static void pass(double by_us);

static bool powered() { return powered_us >= 0 && us >= powered_us + 200.0 && !told("unpowered"); }

static void start()
{
    static const double RATES[] = {10, 20, 40, 80, 10, 10, 10, 320};
    seen.starts++;
    since_start = 0;
    period_us = 1e6 / RATES[regs[2] >> 4 & 7];
    next_us = us + period_us;
}

static void store(uint8_t reg, uint8_t value)
{
    if (reg != 0 && !powered()) {
        seen.early++;
        return;
    }
    if (reg == 0) {
        if (value & 0x01) {
            memset(regs, 0, sizeof regs);
            powered_us = -1;
            next_us = 1e18;
            set_ready_line(told("open"));
        }
        if (value & 0x02 && powered_us < 0 && !(value & 0x01))
            powered_us = us;
        bool starts = (value & 0x16) == 0x16 && !(regs[0] & 0x10);
        seen.early += (value & 0x10) && !powered();
        regs[0] = (uint8_t)((value & ~0x28) | (regs[0] & 0x20));
        if (starts && powered())
            start();
        return;
    }
    regs[reg & 0x1F] = told("gain") && reg == 1 ? (uint8_t)(value & ~0x07) : value;
}

static uint8_t load(uint8_t reg)
{
    if (reg == 0)
        return (uint8_t)(regs[0] | (powered() ? 0x08 : 0));
    if (reg >= 0x12 && reg <= 0x14) {
        uint8_t byte = (uint8_t)((uint32_t)result >> (8 * (0x14 - reg)));
        if (reg == 0x12)
            reading_us = us;
        if (reg == 0x14) {
            seen.stray += !(regs[0] & 0x20);
            seen.taken += (regs[0] & 0x20) != 0;
            regs[0] &= (uint8_t)~0x20;
            reading_us = -1;
            set_ready_line(told("open"));
        }
        return byte;
    }
    return regs[reg & 0x1F];
}

void converter_passes()
{
    if (us < next_us)
        return;
    next_us += period_us;
    seen.conversions++;
    seen.untaken += (regs[0] & 0x20) != 0;
    seen.torn += reading_us >= 0;
    result = settled(cell(), ++since_start, 4);
    regs[0] |= 0x20;
    if (!told("open")) {
        set_ready_line(false);
        set_ready_line(true);
    }
}

void converter_pin(int, bool) {}

TwoWire Wire;
void TwoWire::begin() { set_ready_line(told("open")); }
void TwoWire::setClock(uint32_t hz) { byte_us = 9e6 / hz; }
void TwoWire::beginTransmission(uint8_t address) { address_ = address, sent_count = 0, pass(byte_us); }
size_t TwoWire::write(uint8_t byte) { sent_bytes[sent_count++] = byte; return 1; }
uint8_t TwoWire::endTransmission()
{
    if (address_ != 0x2A || told("absent"))
        return 2;
    for (int i = 0; i < sent_count; i++) {
        pass(byte_us);
        if (i == 0)
            pointer_ = sent_bytes[0];
        else
            store(pointer_++, sent_bytes[i]);
    }
    return 0;
}
size_t TwoWire::requestFrom(uint8_t address, size_t count)
{
    answer_count = answer_at = 0;
    pass(byte_us);
    if (address != 0x2A || told("absent"))
        return 0;
    while (count--) {
        pass(byte_us);
        answer[answer_count++] = load(pointer_++);
    }
    return (size_t)answer_count;
}
int TwoWire::read() { return answer_at < answer_count ? answer[answer_at++] : -1; }
