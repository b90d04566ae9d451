/* Lets the sketch run on this computer: a converter, a port, a crank and a clock that are modelled. What it sends goes to
 * stdout, what was seen of it to stderr.
 *
 * ARGUMENTS: seconds, then words. Of the port: "closed" (nobody has it open), "late" (it is opened at half time), "ask" (the
 * host asks for a hello at half time), "room" (its core says how much room there is). Of the crank: "turns=1.3" a second,
 * "magnets=4". Of the converter: "low" (its line is held low), "frozen" (one value for ever), and those of its model.
 */
#include "Arduino.h"
#include "WiFi.h"
#include "model.h"
#include <cmath>
#include <stdio.h>
#include <stdlib.h>

void setup();
void loop();

double us;
std::map<std::string, double> words;
Seen seen;
static double end_us;
static int32_t raw = 84200;
static bool ready_line = true;
static voidFuncPtr called_on_edge;
static PinStatus edge;
static long writes, written;

int32_t cell() { return told("frozen") ? raw : raw += 7; }

void set_ready_line(bool level)
{
    bool before = ready_line;
    ready_line = level;
    if (called_on_edge && before != level && level == (edge == RISING))
        called_on_edge();
}

static void pass(double by_us)
{
    for (; by_us > 0.0; by_us -= 100.0) { /* a converter may be ready within */
        us += by_us < 100.0 ? by_us : 100.0;
        converter_passes();
    }
}

#if defined(CRANK_SENDER)
void converter_passes() {}
void converter_pin(int, bool) {}
#elif CONVERTER == CONVERTER_NAU7802
#include "nau7802_model.h"
#elif CONVERTER == CONVERTER_ADS1220
#include "ads1220_model.h"
#else
#include "shift_model.h"
#endif

/* A sensor is closed for a third of the way from magnet to magnet; the second one is a quarter of the way on. */
static bool sensor(double ahead)
{
    double place = words["turns"] * us / 1e6 * (told("magnets") ? words["magnets"] : 1.0) - ahead;
    return told("turns") && place - std::floor(place) > 0.55 && place - std::floor(place) < 0.9;
}

extern "C" {
void pinMode(pin_size_t, PinMode) {}
void digitalWrite(pin_size_t pin, PinStatus level) { pass(0.5), converter_pin(pin, level == HIGH); }
PinStatus digitalRead(pin_size_t pin)
{
    static const int SECOND = CRANK_B_PIN;
    int asked = pin;
    pass(0.5);
    if (asked == CRANK_A_PIN)
        return sensor(0.0) ? LOW : HIGH;
    if (asked == SECOND)
        return sensor(0.25) ? LOW : HIGH;
    return pin == DOUT_PIN && (told("low") || !ready_line) ? LOW : HIGH;
}
int analogRead(pin_size_t) { return 500; }
void delayMicroseconds(unsigned int for_us) { pass(for_us); }
unsigned long micros() { return (unsigned long)(uint32_t)us; }
void noInterrupts() {}
void interrupts() {}
void attachInterrupt(pin_size_t, voidFuncPtr called, PinStatus mode) { called_on_edge = called, edge = mode; }
}

static bool open_now() { return !told("closed") && (!told("late") || us > end_us / 2); }

static size_t put(const uint8_t *bytes, size_t count)
{
    writes++, written += (long)count;
    fwrite(bytes, 1, count, stdout);
    return count;
}

Port Serial;
void Port::begin(unsigned long) {}
int Port::available() { return told("ask") && us > end_us / 2; }
int Port::read() { words.erase("ask"); return '?'; }
int Port::availableForWrite() { return told("room") && open_now() ? 64 : 0; /* the official RP2040 core: 0 for ever */ }
size_t Port::write(uint8_t byte) { return put(&byte, 1); }
size_t Port::write(const uint8_t *bytes, size_t count) { return put(bytes, count); }
Port::operator bool() { pass(1000.0); return open_now(); /* the official RP2040 core waits here */ }

WiFiClass WiFi;
int WiFiClass::begin(const char *, const char *) { return 0; }
int WiFiClient::available() { return number && Serial.available(); }
int WiFiClient::read() { return Serial.read(); }
size_t WiFiClient::write(uint8_t byte) { return put(&byte, 1); }
size_t WiFiClient::write(const uint8_t *bytes, size_t count) { return put(bytes, count); }
uint8_t WiFiClient::connected() { return number && open_now(); }
int WiFiClient::setNoDelay(bool) { return 0; }
WiFiServer::WiFiServer(uint16_t) {}
void WiFiServer::begin() {}
WiFiClient WiFiServer::available()
{
    WiFiClient found;
    found.number = open_now();
    return found;
}

int main(int count, char **arguments)
{
    end_us = 1e6 * atof(arguments[1]);
    for (int i = 2; i < count; i++) {
        std::string word = arguments[i];
        size_t equals = word.find('=');
        words[word.substr(0, equals)] = equals == std::string::npos ? 1.0 : atof(word.c_str() + equals + 1);
    }
    setup();
    while (us < end_us) {
        loop();
        pass(20.0);
    }
    fprintf(stderr,
            "{\"conversions\": %ld, \"taken\": %ld, \"untaken\": %ld, \"early\": %ld, \"torn\": %ld, \"stray\": %ld, "
            "\"starts\": %ld, \"writes\": %ld, \"written\": %ld}\n",
            seen.conversions, seen.taken, seen.untaken, seen.early, seen.torn, seen.stray, seen.starts, writes, written);
    return 0;
}
