/* HX711 and ADS1232: 24 bits by 25 or more clocks. After the last of them the line is high until the next conversion. */
static double next_us = 50000.0;
static bool ready, sck;
static int clocks;
static uint32_t shift;

void converter_passes()
{
    if (us < next_us || told("low"))
        return;
    next_us += 12500.0;
    seen.conversions++;
    seen.untaken += ready && clocks == 0;
    seen.torn += ready && clocks > 0 && clocks < CONVERTER_CLOCKS;
    shift = (uint32_t)cell() & 0xFFFFFF;
    clocks = 0;
    ready = true;
    set_ready_line(true);
    set_ready_line(false);
}

void converter_pin(int pin, bool level)
{
    if (pin != SCK_PIN || level == sck)
        return;
    sck = level;
    if (!sck || !ready)
        return;
    if (++clocks <= 24)
        set_ready_line((shift >> (24 - clocks)) & 1);
    else
        set_ready_line(true);
    seen.taken += clocks == CONVERTER_CLOCKS;
}
