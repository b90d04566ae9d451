/* Lets the sketch run on this computer: a converter, a port and a clock that are modelled. What it sends goes to stdout.
 *
 * ARGUMENTS: seconds, then words: "low" (the data line is held low), "closed" (nobody has the port open), "ask" (the host
 * asks for a hello at half time), "late" (the port is opened at half time).
 */
#include "Arduino.h"
#include "WiFi.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void setup();
void loop();

static double us, next_us = 50000.0, end_us;
static bool low, closed, late, ask, ready, sck;
static int clocks;
static uint32_t shift;
static int32_t raw = 84200;
static bool dout = true;
static void (*falls)();

static void set_dout(bool level)
{
    bool fell = dout && !level;
    dout = level;
    if (fell && falls)
        falls();
}

static void pass(double by_us)
{
    us += by_us;
    while (us >= next_us) {
        next_us += 12500.0;
        raw += 7;
        shift = (uint32_t)raw & 0xFFFFFF;
        clocks = 0;
        ready = true;
        set_dout(true);
        set_dout(false);
    }
}

extern "C" {
void pinMode(int, int) {}
void digitalWrite(int pin, int level)
{
    pass(0.5);
    if (pin != SCK_PIN || (level == HIGH) == sck)
        return;
    sck = level == HIGH;
    if (!sck || !ready)
        return;
    if (++clocks <= 24)
        set_dout((shift >> (24 - clocks)) & 1);
    else
        set_dout(true);
}
int digitalRead(int pin)
{
    pass(0.5);
    if (pin == DOUT_PIN)
        return low ? LOW : dout ? HIGH : LOW;
    return HIGH;
}
int analogRead(int) { return 500; }
void delayMicroseconds(unsigned for_us) { pass(for_us); }
unsigned long micros() { return (unsigned long)(uint32_t)us; }
void noInterrupts() {}
void interrupts() {}
void attachInterrupt(int, void (*called)(), int) { falls = called; }
}

static bool open_now() { return !closed && (!late || us > end_us / 2); }

Port Serial;
void Port::begin(long) {}
int Port::available() { return ask && us > end_us / 2; }
int Port::read() { ask = false; return '?'; }
int Port::availableForWrite() { return 0; /* as the official RP2040 core answers */ }
int Port::write(uint8_t byte) { putchar(byte); return 1; }
Port::operator bool() { return open_now(); }

WiFiClass WiFi;
int WiFiClass::begin(const char *, const char *) { return 0; }
int WiFiClient::available() { return number && Serial.available(); }
int WiFiClient::read() { return Serial.read(); }
int WiFiClient::write(uint8_t byte) { return Serial.write(byte); }
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

int main(int count, char **words)
{
    end_us = 1e6 * atof(words[1]);
    for (int i = 2; i < count; i++) {
        low |= !strcmp(words[i], "low");
        closed |= !strcmp(words[i], "closed");
        late |= !strcmp(words[i], "late");
        ask |= !strcmp(words[i], "ask");
    }
    setup();
    while (us < end_us) {
        loop();
        pass(20.0);
    }
    return 0;
}
