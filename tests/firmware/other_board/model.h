/* What the models of converters share: time, the ready line, what the cell gives, and what was seen of the sketch. */
#pragma once
#include "Arduino.h"
#include <map>
#include <string>

extern double us;
extern std::map<std::string, double> words; /* of the command line; 1 where a word has no value */
inline bool told(const char *word) { return words.count(word) > 0; }

/* Counted, for the tests: early, what was sent before the device is ready for it; untaken, conversions that were overwritten
 * before they were read; torn, read while the next came; stray, reads of a conversion that is not there. */
struct Seen {
    long conversions, taken, untaken, early, torn, stray, starts;
};
extern Seen seen;

void set_ready_line(bool level);
int32_t cell(); /* what the converter makes of the cell now: one more conversion */

/* A converter's own filter settles in four conversions (HX711, NAU7802) or in one (ADS1220). */
inline int32_t settled(int32_t value, long number, long of) { return number >= of ? value : (int32_t)((int64_t)value * number / of); }

/* Each model has these. */
void converter_passes();                    /* time has passed: make what became due */
void converter_pin(int pin, bool level);    /* the sketch drives a pin */
