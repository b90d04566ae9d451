/* One meter of the core, for tests that call it from Python. */
#include "meter_core.h"

#include <string.h>

static meter one;
static char fields[METER_HELLO_FIELDS + 1];

void shim_fields(const char *text) { strncpy(fields, text, METER_HELLO_FIELDS); }
bool shim_add_field(const char *key, const char *value) { return meter_add_field(fields, key, value); }
const char *shim_fields_now(void) { return fields; }

void shim_start(unsigned has, int32_t overload, bool two, bool a, bool b, uint32_t now_us)
{
    meter_start(&one, fields, (uint8_t)has, overload, now_us);
    meter_crank_start(&one.crank, two, a, b, 3000, now_us);
}

void shim_channels(unsigned distance_mm, int temperature_dC)
{
    one.distance_mm = (uint16_t)distance_mm;
    one.temperature_dC = (int16_t)temperature_dC;
}

void shim_converted(uint32_t bits, uint32_t t_us) { meter_converted(&one, bits, t_us); }
bool shim_waited(uint32_t now_us) { return meter_waited(&one, now_us); }
void shim_received(unsigned byte) { meter_received(&one, (uint8_t)byte); }
void shim_crank(bool a, bool b, uint32_t now_us) { meter_crank_look(&one.crank, a, b, now_us); }
unsigned shim_turns(void) { return one.crank.counts; }

size_t shim_take(char *out, size_t most)
{
    size_t n = 0;
    while (n < most && meter_waiting(&one))
        out[n++] = meter_next(&one);
    return n;
}

size_t shim_sample(char *out, unsigned seq, uint32_t t_us, int32_t raw, unsigned flags, unsigned has, unsigned crank,
                   unsigned distance_mm, int temperature_dC)
{
    meter_sample sample = {(uint16_t)seq,   t_us, raw, (uint8_t)flags, (uint8_t)has, (uint16_t)crank, (uint16_t)distance_mm,
                           (int16_t)temperature_dC};
    return meter_encode_sample(out, &sample);
}

static meter_sender sender;
static char sender_fields[40];

void shim_sender_start(const char *text, bool two, uint32_t bounce_us, uint32_t now_us)
{
    strncpy(sender_fields, text, sizeof sender_fields - 1);
    meter_sender_start(&sender, sender_fields, now_us);
    meter_crank_start(&sender.link.crank, two, false, false, bounce_us, now_us);
}

void shim_sender_look(bool a, bool b, uint32_t now_us) { meter_sender_look(&sender, a, b, now_us); }
void shim_sender_battery(bool low) { sender.battery_low = low; }

size_t shim_sender_take(char *out, size_t most)
{
    size_t n = 0;
    while (n < most && meter_waiting(&sender.link))
        out[n++] = meter_next(&sender.link);
    return n;
}
