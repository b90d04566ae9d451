// Winding meter for ATmega328P, RP2040 and ESP32 boards and a converter of 24 bits (see config.h).
// Pins in, lines of the meter protocol out; every decision is made in meter_core, every choice in config.h.
// Nothing here waits for the port: what finds no room is dropped, counted and flagged.

#include "config.h"
#include "meter_core.h"

#ifdef __AVR__
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#else
#define RESET_CAUSE "unk"
#endif

#ifdef WIFI_SSID
#include <WiFi.h>
static WiFiServer server(WIFI_PORT);
static WiFiClient PORT; // one reader at a time: socket://ADDRESS:WIFI_PORT
#else
#define PORT Serial
#endif

#ifdef ARDUINO_ARCH_ESP32
#define IN_RAM IRAM_ATTR // an interrupt may come while the flash is busy
#else
#define IN_RAM
#endif

static char fields[METER_HELLO_FIELDS + 1];
#ifdef CRANK_SENDER
static meter_sender sender;
static meter &winding_meter = sender.link;
#else
static meter winding_meter;

// -- cause of the last reset

#ifdef __AVR__
// Optiboot clears MCUSR and hands its old value on in r2, before anything of C runs.
static uint8_t from_bootloader __attribute__((section(".noinit")));
static uint8_t from_processor __attribute__((section(".noinit")));

void keep_reset_cause(void) __attribute__((naked, used, section(".init3")));
void keep_reset_cause(void) {
    __asm__ __volatile__("sts %0, r2" : "=m"(from_bootloader) :);
    from_processor = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

static const char *reset_cause() {
    uint8_t cause = from_processor ? from_processor : from_bootloader;
    if (cause & _BV(WDRF)) return "wdt";
    if (cause & _BV(BORF)) return "bor";
    if (cause & _BV(PORF)) return "por";
    if (cause & _BV(EXTRF)) return "ext";
    return "unk";
}
#else
static const char *reset_cause() { return RESET_CAUSE; }
#endif

// -- the converter: its ready line stamps the time, its own file starts it and takes a conversion out

#ifndef digitalPinToInterrupt
#error "This board does not name its interrupts: choose one that does."
#endif

static volatile uint32_t ready_us;
static volatile bool ready_stamped;

static void IN_RAM on_ready() {
    // What is shifted out may make edges too: those are no conversion, and come while the stamp is still held.
    if (ready_stamped) return;
    ready_us = micros();
    ready_stamped = true;
}

#include CONVERTER_CODE

static void converter_restart() {
    converter_start();
    ready_stamped = false;
}

// -- optional channels

static uint16_t distance_mm() {
#if DISTANCE_PIN >= 0
    int32_t at = analogRead(DISTANCE_PIN);
    return (uint16_t)(DISTANCE_AT_ZERO_MM + (at * ((int32_t)DISTANCE_AT_FULL_MM - DISTANCE_AT_ZERO_MM) + ANALOGUE_MAX / 2) / ANALOGUE_MAX);
#else
    return 0;
#endif
}

static int16_t temperature_dC() {
#if TEMPERATURE_PIN >= 0
    // 10 mV a degree are 1 mV a tenth.
    int32_t mV = ((int32_t)analogRead(TEMPERATURE_PIN) * ANALOGUE_MV + (ANALOGUE_MAX + 1) / 2) / (ANALOGUE_MAX + 1);
    return (int16_t)(mV - 500);
#else
    return 0;
#endif
}

#endif

static bool closed(int pin) { return pin >= 0 && digitalRead(pin) == LOW; }

// -- the port

#ifdef WIFI_SSID
static void port_begin() {
    WiFi.begin(WIFI_SSID, WIFI_PASSWORD); // it connects by itself, and again when it was lost
    server.begin();
}

static int port_room() {
    if (!PORT.connected()) {
        WiFiClient next = server.available();
        if (next) {
            PORT = next;
            PORT.setNoDelay(true);
        }
    }
    return PORT.connected() ? METER_OUT_BYTES : 0;
}
#else
static void port_begin() { Serial.begin(115200); }

// Bytes that can be written without waiting. Some cores (the official one of the RP2040, Uno R4 WiFi) answer 0 to
// availableForWrite for ever: there, an open port is one with room. Asking whether it is open takes the first of them 1 ms.
static int port_room() {
    int room = Serial.availableForWrite();
#ifndef __AVR__
    static bool knows_room;
    if (room > 0) knows_room = true;
    if (!knows_room && Serial) return METER_OUT_BYTES;
#endif
    return room;
}
#endif

// What waits goes out in one piece: a piece is a packet of USB or of WiFi.
static void send_waiting() {
    uint8_t piece[64], count = 0;
    if (!meter_waiting(&winding_meter)) return;
    int room = port_room();
    while (count < room && count < sizeof piece && meter_waiting(&winding_meter)) piece[count++] = (uint8_t)meter_next(&winding_meter);
    if (count) PORT.write(piece, count);
}

// -- Arduino's two

static void crank_begin() {
    if (CRANK_A_PIN >= 0) pinMode(CRANK_A_PIN, INPUT_PULLUP);
    if (CRANK_B_PIN >= 0) pinMode(CRANK_B_PIN, INPUT_PULLUP);
    meter_crank_start(&winding_meter.crank, CRANK_B_PIN >= 0, closed(CRANK_A_PIN), closed(CRANK_B_PIN), CRANK_BOUNCE_US, micros());
}

static void add_pulses_per_turn() {
#if CRANK_PULSES_PER_TURN != 1
    meter_add_field(fields, "ppr", CONFIG_TEXT(CRANK_PULSES_PER_TURN));
#endif
}

#ifdef CRANK_SENDER
#include "crank_sender.h"
#else
void setup() {
    char channels[4] = "";
    uint8_t has = 0;
    if (CRANK_A_PIN >= 0) {
        has |= METER_HAS_CRANK;
        strcat(channels, CRANK_B_PIN >= 0 ? "q" : "c");
    }
    if (DISTANCE_PIN >= 0) {
        has |= METER_HAS_DISTANCE;
        strcat(channels, "d");
    }
    if (TEMPERATURE_PIN >= 0) {
        has |= METER_HAS_TEMPERATURE;
        strcat(channels, "t");
    }
    meter_add_field(fields, "board", BOARD);
    meter_add_field(fields, "rate", CONFIG_TEXT(RATE));
    meter_add_field(fields, "ch", channels);
    meter_add_field(fields, "rst", reset_cause());
    if (CRANK_A_PIN >= 0) add_pulses_per_turn();
    meter_add_field(fields, "adc", CONVERTER_NAME);
    meter_add_field(fields, "gain", CONVERTER_GAIN);
    port_begin();
    converter_begin();
    meter_start(&winding_meter, fields, has, OVERLOAD_COUNTS, micros());
    crank_begin();
    converter_restart();
    attachInterrupt(digitalPinToInterrupt(DOUT_PIN), on_ready, READY_EDGE);
#ifdef __AVR__
    set_sleep_mode(SLEEP_MODE_IDLE);
#endif
}

void loop() {
    if (converter_ready()) {
        uint32_t bits, t_us = ready_stamped ? ready_us : micros();
        bool taken = converter_take(bits);
        ready_stamped = false;
        if (taken) {
            winding_meter.distance_mm = distance_mm();
            winding_meter.temperature_dC = temperature_dC();
            meter_converted(&winding_meter, bits, t_us);
        }
    }
    if (CRANK_A_PIN >= 0)
        meter_crank_look(&winding_meter.crank, closed(CRANK_A_PIN), closed(CRANK_B_PIN), micros());
    if (meter_waited(&winding_meter, micros())) converter_restart();
    while (PORT.available() > 0) meter_received(&winding_meter, (uint8_t)PORT.read());
    send_waiting();
#ifdef __AVR__
    // Idle until the next interrupt: the clock's, every 1.024 ms at the latest. A sleeping processor is a quiet one.
    sleep_mode();
#endif
}
#endif
