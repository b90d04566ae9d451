// Winding meter for ATmega328P, RP2040 and ESP32 boards and a converter that shifts out 24 bits (see config.h).
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

static meter winding_meter;
static char hello_fields[METER_HELLO_FIELDS + 1];

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

// -- the converter: DOUT falls when a conversion is ready; 24 clocks take it out, one or more choose the next gain

#ifndef digitalPinToInterrupt
#error "This board does not name its interrupts: choose one that does."
#endif

static volatile uint32_t ready_us;
static volatile bool ready_stamped;

static void IN_RAM on_dout() {
    // The bits that are shifted out make edges too: those are no conversion, and come while the stamp is still held.
    if (ready_stamped) return;
    ready_us = micros();
    ready_stamped = true;
}

static void converter_restart() {
    // Over 60 us of high clock switch the converter off; the fall switches it on, wherever in a conversion it was.
    digitalWrite(SCK_PIN, HIGH);
    delayMicroseconds(100);
    digitalWrite(SCK_PIN, LOW);
    ready_stamped = false;
}

static uint32_t converter_take() {
    uint32_t bits = 0;
    for (uint8_t i = 0; i < CONVERTER_CLOCKS; i++) {
        // An interrupt within the high half could make it longer than the 50 us allowed, and switch the converter off.
        noInterrupts();
        digitalWrite(SCK_PIN, HIGH);
        delayMicroseconds(1);
        if (i < 24) bits = (bits << 1) | (digitalRead(DOUT_PIN) == HIGH ? 1 : 0);
        digitalWrite(SCK_PIN, LOW);
        interrupts();
        delayMicroseconds(1);
    }
    ready_stamped = false;
    return bits;
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

static bool closed(int pin) { return pin >= 0 && digitalRead(pin) == LOW; }

// -- the port

#ifdef WIFI_SSID
static void port_begin() {
    WiFi.begin(WIFI_SSID, WIFI_PASSWORD); // it connects by itself, and again when it was lost
    server.begin();
}

static bool port_has_room() {
    if (!PORT.connected()) {
        WiFiClient next = server.available();
        if (next) {
            PORT = next;
            PORT.setNoDelay(true);
        }
    }
    return PORT.connected();
}
#else
static void port_begin() { Serial.begin(115200); }

// Several cores (RP2040, Uno R4 WiFi) answer 0 to availableForWrite for ever: there, an open port is one with room.
#ifdef __AVR__
static bool port_has_room() { return Serial.availableForWrite() > 0; }
#else
static bool port_has_room() { return (bool)Serial; }
#endif
#endif

// -- Arduino's two

void setup() {
    char channels[4] = "";
    uint8_t has = 0;
    if (CRANK_A_PIN >= 0) {
        has |= METER_HAS_CRANK;
        strcat(channels, CRANK_B_PIN >= 0 ? "q" : "c");
        pinMode(CRANK_A_PIN, INPUT_PULLUP);
        if (CRANK_B_PIN >= 0) pinMode(CRANK_B_PIN, INPUT_PULLUP);
    }
    if (DISTANCE_PIN >= 0) {
        has |= METER_HAS_DISTANCE;
        strcat(channels, "d");
    }
    if (TEMPERATURE_PIN >= 0) {
        has |= METER_HAS_TEMPERATURE;
        strcat(channels, "t");
    }
    meter_add_field(hello_fields, "board", BOARD);
    meter_add_field(hello_fields, "rate", RATE);
    meter_add_field(hello_fields, "ch", channels);
    meter_add_field(hello_fields, "rst", reset_cause());
#if CRANK_PULSES_PER_TURN != 1
    meter_add_field(hello_fields, "ppr", CONFIG_TEXT(CRANK_PULSES_PER_TURN));
#endif
    meter_add_field(hello_fields, "adc", CONVERTER_NAME);
    meter_add_field(hello_fields, "gain", CONVERTER_GAIN);
    pinMode(SCK_PIN, OUTPUT);
    pinMode(DOUT_PIN, INPUT_PULLUP); // a converter that is not there reads as never ready
    port_begin();
    meter_start(&winding_meter, hello_fields, has, OVERLOAD_COUNTS, micros());
    meter_crank_start(&winding_meter.crank, CRANK_B_PIN >= 0, closed(CRANK_A_PIN), closed(CRANK_B_PIN), micros());
    converter_restart();
    attachInterrupt(digitalPinToInterrupt(DOUT_PIN), on_dout, FALLING);
#ifdef __AVR__
    set_sleep_mode(SLEEP_MODE_IDLE);
#endif
}

void loop() {
    if (digitalRead(DOUT_PIN) == LOW) {
        uint32_t t_us = ready_stamped ? ready_us : micros();
        uint32_t bits = converter_take();
        // After its last clock a converter holds the line high. Low still: nothing is there, or it has no supply.
        if (digitalRead(DOUT_PIN) == HIGH) {
            winding_meter.distance_mm = distance_mm();
            winding_meter.temperature_dC = temperature_dC();
            meter_converted(&winding_meter, bits, t_us);
        }
    }
    if (CRANK_A_PIN >= 0)
        meter_crank_look(&winding_meter.crank, closed(CRANK_A_PIN), closed(CRANK_B_PIN), micros());
    if (meter_waited(&winding_meter, micros())) converter_restart();
    while (PORT.available() > 0) meter_received(&winding_meter, (uint8_t)PORT.read());
    while (meter_waiting(&winding_meter) && port_has_room()) PORT.write((uint8_t)meter_next(&winding_meter));
#ifdef __AVR__
    // Idle until the next interrupt: the clock's, every 1.024 ms at the latest. A sleeping processor is a quiet one.
    sleep_mode();
#endif
}
