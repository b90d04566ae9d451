/* Winding meter core: conversions, crank levels and requests in; lines of the meter protocol, version 1.2, out.
 * No hardware calls, no memory taken, no waiting: it compiles for a board and for the computer that tests it.
 */
#ifndef METER_CORE_H
#define METER_CORE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define METER_LONGEST_LINE 62  /* bytes of a line, its end included */
#define METER_LONGEST_HELLO 96 /* bytes of a hello */
#define METER_PROTOCOL "1"

enum {
    METER_SATURATED = 0x01,
    METER_NO_DATA = 0x02,
    METER_OVERLOAD = 0x04,
    METER_SETTLING = 0x08,
    METER_LINE_DROPPED = 0x10,
    METER_FROZEN = 0x20,
    METER_BATTERY_LOW = 0x40 /* of a crank sender */
};

enum { METER_HAS_CRANK = 1, METER_HAS_DISTANCE = 2, METER_HAS_TEMPERATURE = 4 };

#define METER_SETTLING_CONVERSIONS 4   /* the converter's output is settled after so many */
#define METER_FROZEN_CONVERSIONS 32    /* as many equal readings in a row are no converter's: 24 bits flicker even at rest */
#define METER_NO_DATA_US UINT32_C(600000) /* silence of the converter until a line says so; settling at 10 a second takes 400 ms */
#define METER_HELLO_EVERY_US UINT32_C(5000000)
#define METER_SENDER_EVERY_US UINT32_C(100000) /* a crank sender's lines come at each count and at least so often, */
#define METER_SENDER_APART_US UINT32_C(20000)  /* and at most so often */
#define METER_OUT_BYTES 192            /* what waits for the port at most: three lines, or a hello and a line */
#define METER_HELLO_FIELDS 85          /* bytes of ",key=value..." that fit into a hello */

/* One line of data. raw is not sent if flags has METER_NO_DATA; `has` says which channels are sent. */
typedef struct {
    uint16_t seq;
    uint32_t t_us;
    int32_t raw;
    uint8_t flags;
    uint8_t has;
    uint16_t crank;
    uint16_t distance_mm;
    int16_t temperature_dC; /* 0.1 degC, sent between -999 and 9999 */
} meter_sample;

/* CRC-16/IBM-3740: polynomial 0x1021, initial 0xFFFF, not reflected; 0x29B1 for "123456789". */
uint16_t meter_crc(const char *data, size_t length);

/* 24 bits in two's complement, as a converter shifts them out, to a number. */
int32_t meter_from_24_bits(uint32_t bits);

/* Write a line, not closed by a zero byte, into out[METER_LONGEST_LINE], a hello into out[METER_LONGEST_HELLO]; return its length. */
size_t meter_encode_sample(char *out, const meter_sample *sample);

/* Append ",key=value" to fields[METER_HELLO_FIELDS + 1] if it fits there; what is most needed goes first. */
bool meter_add_field(char *fields, const char *key, const char *value);

/* fields: "" or ",key=value..."; return 0 if the line would be too long. */
size_t meter_encode_hello(char *out, const char *fields);

/* A crank switch: its level counts once it has been steady for the crank's bounce_us. */
typedef struct {
    bool steady, newest;
    uint32_t since_us;
} meter_switch;

/* Crank counts. One sensor counts each closing, upwards. Two sensors, whose closings overlap, make four steps a magnet and
 * count down in reverse: the count changes where the second opens, forwards, while the first is open. */
typedef struct {
    meter_switch a, b;
    bool two;
    uint32_t bounce_us;
    int32_t quarter;
    int8_t direction;
    uint16_t counts;
} meter_crank;

void meter_crank_start(meter_crank *crank, bool two, bool a_closed, bool b_closed, uint32_t bounce_us, uint32_t now_us);

/* True: the count changed. */
bool meter_crank_look(meter_crank *crank, bool a_closed, bool b_closed, uint32_t now_us);

/* The meter: what is to be sent, and the lines that wait for the port. */
typedef struct {
    char out[METER_OUT_BYTES];
    uint8_t out_first, out_count;
    uint16_t seq;
    uint8_t settling, equal;
    int32_t newest;
    bool dropped, hello_due, greeted;
    uint32_t heard_us, hello_us;
    int32_t overload_counts;
    const char *hello_fields;
    /* Set by the sketch before a conversion is handed over. */
    uint8_t has;
    uint16_t distance_mm;
    int16_t temperature_dC;
    meter_crank crank;
} meter;

/* overload_counts: readings this far from 0 are flagged as overload. hello_fields must live as long as the meter. */
void meter_start(meter *self, const char *hello_fields, uint8_t has, int32_t overload_counts, uint32_t now_us);

/* A conversion of 24 bits that was ready at t_us. */
void meter_converted(meter *self, uint32_t bits, uint32_t t_us);

/* Call often. True: the converter has been silent for METER_NO_DATA_US, and should be started anew. */
bool meter_waited(meter *self, uint32_t now_us);

/* A byte from the host. */
void meter_received(meter *self, uint8_t byte);

/* -- a crank sender: a board of its own at the handle, on a battery; lines of type C instead of all others */

typedef struct {
    meter link; /* its queue, sequence and crank */
    const char *fields;
    uint32_t counted_us, sent_us;
    bool counted, due, battery_low;
} meter_sender;

/* fields: "" or ",ppr=4", ",ch=q" and both; they stand in each line, since any line may be lost. */
void meter_sender_start(meter_sender *self, const char *fields, uint32_t now_us);

/* Call often: it looks at the switches and queues a line where one is due. Start link.crank before. */
void meter_sender_look(meter_sender *self, bool a_closed, bool b_closed, uint32_t now_us);

/* Bytes for the port, oldest first; meter_next takes one out of meter_waiting. */
uint8_t meter_waiting(const meter *self);
char meter_next(meter *self);

#ifdef __cplusplus
}
#endif
#endif
