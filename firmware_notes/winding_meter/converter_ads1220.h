// ADS1220, by SPI. Included by the sketch, once. The ready line falls when a conversion is there; the first clock of its
// reading raises it again. Registers, commands and times are those of its data sheet (SBAS501).

#include <SPI.h>

#define READY_EDGE FALLING

#if RATE == 20
#define ADS1220_DR 0
#elif RATE == 45
#define ADS1220_DR 1
#elif RATE == 90
#define ADS1220_DR 2
#elif RATE == 175
#define ADS1220_DR 3
#elif RATE == 330
#define ADS1220_DR 4
#else
#error "RATE: an ADS1220 makes 20, 45, 90, 175 or 330 conversions a second"
#endif

enum { ADS1220_RESET = 0x06, ADS1220_START = 0x08, ADS1220_RREG = 0x20, ADS1220_WREG = 0x40 };

// Its four registers, written at the start, and must be read back so.
static const uint8_t ADS1220_SET[4] = {
    0x3E,                   // AIN1 against AIN2 (0011), gain 128 (111), amplifier on
    ADS1220_DR << 5 | 0x04, // conversions a second, one after another
    0xC0,                   // its supply, which feeds the cell, is its reference
    0x00,                   // no currents; the ready line alone says that a conversion is there
};

static bool converter_is_set;

static void ads1220_begin() {
    SPI.beginTransaction(SPISettings(1000000, MSBFIRST, SPI_MODE1));
    digitalWrite(CS_PIN, LOW);
}

static void ads1220_end() {
    digitalWrite(CS_PIN, HIGH);
    SPI.endTransaction();
}

static void ads1220_command(uint8_t command) {
    ads1220_begin();
    SPI.transfer(command);
    ads1220_end();
}

static bool ads1220_set() {
    ads1220_command(ADS1220_RESET);
    delayMicroseconds(100); // at least 50 us and 32 of its clocks
    ads1220_begin();
    SPI.transfer(ADS1220_WREG | 3);
    for (uint8_t i = 0; i < 4; i++) SPI.transfer(ADS1220_SET[i]);
    ads1220_end();
    bool good = true;
    ads1220_begin();
    SPI.transfer(ADS1220_RREG | 3);
    for (uint8_t i = 0; i < 4; i++) good &= SPI.transfer(0) == ADS1220_SET[i];
    ads1220_end();
    if (good) ads1220_command(ADS1220_START);
    return good;
}

static bool converter_ready() { return converter_is_set && digitalRead(DOUT_PIN) == LOW; }

static void converter_begin() {
    pinMode(CS_PIN, OUTPUT);
    digitalWrite(CS_PIN, HIGH);
    pinMode(DOUT_PIN, INPUT_PULLUP);
    SPI.begin();
}

static void converter_start() { converter_is_set = ads1220_set(); }

// Take a conversion out; false where there was none: the ready line goes high again by the first clock.
static bool converter_take(uint32_t &bits) {
    bits = 0;
    ads1220_begin();
    for (uint8_t i = 0; i < 3; i++) bits = bits << 8 | SPI.transfer(0);
    ads1220_end();
    return digitalRead(DOUT_PIN) == HIGH;
}
