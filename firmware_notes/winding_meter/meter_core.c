/* Winding meter core: see meter_core.h. */
#include "meter_core.h"

#include <string.h>

#define RAW_MAX 8388607L
#define RAW_MIN (-8388607L - 1)

uint16_t meter_crc(const char *data, size_t length)
{
    uint16_t crc = 0xFFFF;
    while (length--) {
        crc ^= (uint16_t)((uint8_t)*data++ << 8);
        for (uint8_t bit = 0; bit < 8; bit++)
            crc = (uint16_t)((crc & 0x8000) ? (crc << 1) ^ 0x1021 : crc << 1);
    }
    return crc;
}

int32_t meter_from_24_bits(uint32_t bits)
{
    bits &= 0xFFFFFFUL;
    return (bits & 0x800000UL) ? (int32_t)bits - 0x1000000L : (int32_t)bits;
}

static const char HEX[] = "0123456789ABCDEF";

static char *put_text(char *at, const char *text)
{
    while (*text)
        *at++ = *text++;
    return at;
}

static char *put_unsigned(char *at, uint32_t value)
{
    /* Subtracting powers is many times faster than dividing on a processor without a divider. */
    static const uint32_t POWERS[] = {1000000000UL, 100000000UL, 10000000UL, 1000000UL, 100000UL,
                                      10000UL,      1000UL,      100UL,      10UL};
    bool begun = false;
    for (uint8_t i = 0; i < sizeof POWERS / sizeof *POWERS; i++) {
        char digit = '0';
        while (value >= POWERS[i]) {
            value -= POWERS[i];
            digit++;
        }
        if (begun || digit != '0') {
            *at++ = digit;
            begun = true;
        }
    }
    *at++ = (char)('0' + value);
    return at;
}

static char *put_signed(char *at, int32_t value)
{
    if (value < 0) {
        *at++ = '-';
        return put_unsigned(at, (uint32_t)0 - (uint32_t)value);
    }
    return put_unsigned(at, (uint32_t)value);
}

static size_t finish(char *line, char *end)
{
    uint16_t crc = meter_crc(line + 1, (size_t)(end - line - 1));
    *end++ = '*';
    for (int8_t shift = 12; shift >= 0; shift -= 4)
        *end++ = HEX[(crc >> shift) & 0xF];
    *end++ = '\r';
    *end++ = '\n';
    return (size_t)(end - line);
}

size_t meter_encode_sample(char *out, const meter_sample *sample)
{
    char *at = put_text(out, "$D,");
    at = put_unsigned(at, sample->seq);
    *at++ = ',';
    at = put_unsigned(at, sample->t_us);
    *at++ = ',';
    if (!(sample->flags & METER_NO_DATA))
        at = put_signed(at, sample->raw);
    *at++ = ',';
    *at++ = HEX[sample->flags >> 4];
    *at++ = HEX[sample->flags & 0xF];
    if (sample->has & METER_HAS_CRANK)
        at = put_unsigned(put_text(at, ",c="), sample->crank);
    if (sample->has & METER_HAS_DISTANCE)
        at = put_unsigned(put_text(at, ",d="), sample->distance_mm);
    if (sample->has & METER_HAS_TEMPERATURE) {
        int16_t t = sample->temperature_dC;
        at = put_signed(put_text(at, ",t="), t < -999 ? -999 : t > 9999 ? 9999 : t);
    }
    return finish(out, at);
}

bool meter_add_field(char *fields, const char *key, const char *value)
{
    if (strlen(fields) + strlen(key) + strlen(value) + 2 > METER_HELLO_FIELDS)
        return false;
    strcat(strcat(strcat(strcat(fields, ","), key), "="), value);
    return true;
}

size_t meter_encode_hello(char *out, const char *fields)
{
    if (strlen(fields) > METER_HELLO_FIELDS)
        return 0;
    return finish(out, put_text(put_text(out, "$H," METER_PROTOCOL), fields));
}

/* -- crank */

static bool look(meter_switch *one, bool closed, uint32_t bounce_us, uint32_t now_us)
{
    if (closed != one->newest) {
        one->newest = closed;
        one->since_us = now_us;
    }
    /* The difference stays right when the clock wraps. */
    if (one->newest != one->steady && (uint32_t)(now_us - one->since_us) >= bounce_us) {
        one->steady = one->newest;
        return true;
    }
    return false;
}

/* Place in the four steps of a magnet forwards: both open, a closed, both closed, b closed. */
static uint8_t place(const meter_crank *crank)
{
    return crank->b.steady ? (crank->a.steady ? 2 : 3) : (crank->a.steady ? 1 : 0);
}

void meter_crank_start(meter_crank *crank, bool two, bool a_closed, bool b_closed, uint32_t bounce_us, uint32_t now_us)
{
    memset(crank, 0, sizeof *crank);
    crank->two = two;
    crank->bounce_us = bounce_us;
    crank->direction = 1;
    crank->a.steady = crank->a.newest = a_closed;
    crank->b.steady = crank->b.newest = b_closed;
    crank->a.since_us = crank->b.since_us = now_us;
    crank->quarter = two ? place(crank) : 0;
}

bool meter_crank_look(meter_crank *crank, bool a_closed, bool b_closed, uint32_t now_us)
{
    uint16_t counted = crank->counts;
    bool changed = look(&crank->a, a_closed, crank->bounce_us, now_us);
    if (!crank->two) {
        if (changed && crank->a.steady)
            crank->counts++;
        return crank->counts != counted;
    }
    if (!look(&crank->b, b_closed, crank->bounce_us, now_us) && !changed)
        return false;
    uint8_t before = (uint8_t)(crank->quarter & 3), steps = (uint8_t)((place(crank) - before) & 3);
    if (steps == 2) {
        /* Both at once: too fast to see which came first, so it went on as it went. */
        crank->quarter += 2 * crank->direction;
    } else if (steps) {
        crank->direction = steps == 1 ? 1 : -1;
        crank->quarter += crank->direction;
    }
    /* A count is complete where both are open again; going back over that place takes it away again. */
    crank->counts = (uint16_t)(crank->quarter >> 2);
    return crank->counts != counted;
}

/* -- meter */

void meter_start(meter *self, const char *hello_fields, uint8_t has, int32_t overload_counts, uint32_t now_us)
{
    memset(self, 0, sizeof *self);
    self->hello_fields = hello_fields;
    self->has = has;
    self->overload_counts = overload_counts;
    self->settling = METER_SETTLING_CONVERSIONS;
    self->heard_us = self->hello_us = now_us;
    self->hello_due = true;
}

static bool queue_line(meter *self, const char *line, size_t length)
{
    if (length > (size_t)(METER_OUT_BYTES - self->out_count))
        return false;
    for (size_t i = 0; i < length; i++)
        self->out[(self->out_first + self->out_count++) % METER_OUT_BYTES] = line[i];
    return true;
}

/* A hello goes right after a line of data, where the time to the next one is longest; the first needs none. */
static void queue_hello(meter *self)
{
    char line[METER_LONGEST_HELLO];
    size_t length = meter_encode_hello(line, self->hello_fields);
    if (queue_line(self, line, length))
        self->hello_due = false;
}

static void queue_sample(meter *self, int32_t raw, uint8_t flags, uint32_t t_us)
{
    char line[METER_LONGEST_LINE];
    meter_sample sample;
    if (self->dropped)
        flags |= METER_LINE_DROPPED;
    sample.seq = self->seq++;
    sample.t_us = t_us;
    sample.raw = raw;
    sample.flags = flags;
    sample.has = self->has;
    sample.crank = self->crank.counts;
    sample.distance_mm = self->distance_mm;
    sample.temperature_dC = self->temperature_dC;
    self->dropped = !queue_line(self, line, meter_encode_sample(line, &sample));
    self->heard_us = t_us;
    if (self->hello_due)
        queue_hello(self);
}

/* At the end of its range a converter gives equal values, and that is a fault of its own. */
static uint8_t frozen(meter *self, int32_t raw, bool at_end)
{
    if (raw != self->newest || at_end)
        self->equal = 0;
    else if (self->equal < METER_FROZEN_CONVERSIONS)
        self->equal++;
    self->newest = raw;
    return self->equal == METER_FROZEN_CONVERSIONS ? METER_FROZEN : 0;
}

void meter_converted(meter *self, uint32_t bits, uint32_t t_us)
{
    int32_t raw = meter_from_24_bits(bits);
    uint8_t flags = 0;
    if (raw == RAW_MAX || raw == RAW_MIN)
        flags |= METER_SATURATED;
    if (raw >= self->overload_counts || raw <= -self->overload_counts)
        flags |= METER_OVERLOAD;
    if (self->settling) {
        self->settling--;
        flags |= METER_SETTLING;
    }
    flags |= frozen(self, raw, flags & METER_SATURATED);
    queue_sample(self, raw, flags, t_us);
}

bool meter_waited(meter *self, uint32_t now_us)
{
    if (!self->greeted) {
        self->greeted = true;
        queue_hello(self);
    }
    if ((uint32_t)(now_us - self->hello_us) >= METER_HELLO_EVERY_US) {
        self->hello_us += METER_HELLO_EVERY_US;
        self->hello_due = true;
    }
    /* Signed: a conversion may be stamped a moment after now_us was taken. */
    if ((int32_t)(now_us - self->heard_us) < (int32_t)METER_NO_DATA_US)
        return false;
    self->equal = 0; /* it will be started anew */
    queue_sample(self, 0, METER_NO_DATA, now_us);
    return true;
}

void meter_received(meter *self, uint8_t byte)
{
    if (byte == '?')
        self->hello_due = true;
}

uint8_t meter_waiting(const meter *self)
{
    return self->out_count;
}

char meter_next(meter *self)
{
    char byte = self->out[self->out_first];
    self->out_first = (uint8_t)((self->out_first + 1) % METER_OUT_BYTES);
    self->out_count--;
    return byte;
}

/* -- crank sender */

#define LONGEST_AGE_MS UINT32_C(65535)

void meter_sender_start(meter_sender *self, const char *fields, uint32_t now_us)
{
    memset(self, 0, sizeof *self);
    self->fields = fields;
    self->sent_us = now_us;
    self->due = true;
}

static size_t encode_crank(char *out, const meter_sender *self, uint8_t flags, uint32_t now_us)
{
    char *at = put_unsigned(put_text(out, "$C,"), self->link.seq);
    *at++ = ',';
    at = put_unsigned(at, now_us);
    *at++ = ',';
    at = put_unsigned(at, self->link.crank.counts);
    *at++ = ',';
    if (self->counted)
        at = put_unsigned(at, (uint32_t)(now_us - self->counted_us) / 1000);
    *at++ = ',';
    *at++ = HEX[flags >> 4];
    *at++ = HEX[flags & 0xF];
    return finish(out, put_text(at, self->fields));
}

void meter_sender_look(meter_sender *self, bool a_closed, bool b_closed, uint32_t now_us)
{
    char line[METER_LONGEST_LINE];
    uint8_t flags;
    if (meter_crank_look(&self->link.crank, a_closed, b_closed, now_us)) {
        self->counted_us = now_us;
        self->counted = self->due = true;
    }
    /* An age that has reached its end stays there, also when the clock wraps. */
    if (self->counted && (uint32_t)(now_us - self->counted_us) / 1000 > LONGEST_AGE_MS)
        self->counted_us = now_us - LONGEST_AGE_MS * 1000;
    if ((uint32_t)(now_us - self->sent_us) < (self->due ? METER_SENDER_APART_US : METER_SENDER_EVERY_US))
        return;
    flags = (uint8_t)((self->battery_low ? METER_BATTERY_LOW : 0) | (self->link.dropped ? METER_LINE_DROPPED : 0));
    self->link.dropped = !queue_line(&self->link, line, encode_crank(line, self, flags, now_us));
    self->link.seq++;
    self->sent_us = now_us;
    self->due = false;
}
