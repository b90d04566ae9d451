// NAU7802, by I2C. Included by the sketch, once. The ready line rises when a conversion is there and falls when it is read.
// Registers and times are those of its data sheet, revision 1.7. Its own calibration is not used: the zero is the host's.

#include <Wire.h>

#define READY_EDGE RISING

#if RATE == 10
#define NAU7802_CRS 0
#elif RATE == 20
#define NAU7802_CRS 1
#elif RATE == 40
#define NAU7802_CRS 2
#elif RATE == 80
#define NAU7802_CRS 3
#elif RATE == 320
#define NAU7802_CRS 7
#else
#error "RATE: a NAU7802 makes 10, 20, 40, 80 or 320 conversions a second"
#endif

enum { NAU7802_ADDRESS = 0x2A };
enum { NAU7802_PU_CTRL = 0x00, NAU7802_CTRL1 = 0x01, NAU7802_CTRL2 = 0x02, NAU7802_ADCO = 0x12, NAU7802_ADC = 0x15,
       NAU7802_POWER = 0x1C };
enum { NAU7802_RR = 0x01, NAU7802_PUD = 0x02, NAU7802_PUA = 0x04, NAU7802_PUR = 0x08, NAU7802_CS = 0x10, NAU7802_CR = 0x20,
       NAU7802_AVDDS = 0x80 };

// What is written at the start, in this order, and must be read back so.
static const uint8_t NAU7802_SET[][2] = {
    {NAU7802_CTRL1, 0x2F},              // 3.0 V for the cell (101), gain 128 (111)
    {NAU7802_CTRL2, NAU7802_CRS << 4},  // conversions a second, channel 1
    {NAU7802_ADC, 0x30},                // its chopper off
    {NAU7802_POWER, 0x80},              // the capacitor at its second input steadies channel 1
};

static bool converter_is_set;

static bool nau7802_write(uint8_t reg, uint8_t value) {
    Wire.beginTransmission((uint8_t)NAU7802_ADDRESS);
    Wire.write(reg);
    Wire.write(value);
    return Wire.endTransmission() == 0;
}

static bool nau7802_read(uint8_t reg, uint8_t *values, uint8_t count) {
    Wire.beginTransmission((uint8_t)NAU7802_ADDRESS);
    Wire.write(reg);
    if (Wire.endTransmission() != 0) return false;
    if (Wire.requestFrom((uint8_t)NAU7802_ADDRESS, count) != count) return false;
    for (uint8_t i = 0; i < count; i++) values[i] = (uint8_t)Wire.read();
    return true;
}

static bool nau7802_set() {
    uint8_t found = 0;
    if (!nau7802_write(NAU7802_PU_CTRL, NAU7802_RR)) return false;
    delayMicroseconds(100);
    if (!nau7802_write(NAU7802_PU_CTRL, NAU7802_PUD)) return false;
    delayMicroseconds(1000); // it is ready 200 us after it was switched on
    if (!nau7802_read(NAU7802_PU_CTRL, &found, 1) || !(found & NAU7802_PUR)) return false;
    for (uint8_t i = 0; i < sizeof NAU7802_SET / sizeof *NAU7802_SET; i++) {
        if (!nau7802_write(NAU7802_SET[i][0], NAU7802_SET[i][1])) return false;
        if (!nau7802_read(NAU7802_SET[i][0], &found, 1) || found != NAU7802_SET[i][1]) return false;
    }
    return nau7802_write(NAU7802_PU_CTRL, NAU7802_AVDDS | NAU7802_PUA | NAU7802_PUD | NAU7802_CS);
}

static bool converter_ready() { return converter_is_set && digitalRead(DOUT_PIN) == HIGH; }

static void converter_begin() {
    pinMode(DOUT_PIN, INPUT);
    Wire.begin();
    Wire.setClock(400000);
}

static void converter_start() { converter_is_set = nau7802_set(); }

// Take a conversion out; false where there was none: the wire of the ready line may be open.
static bool converter_take(uint32_t &bits) {
    uint8_t status, bytes[3];
    if (!nau7802_read(NAU7802_PU_CTRL, &status, 1) || !(status & NAU7802_CR)) return false;
    if (!nau7802_read(NAU7802_ADCO, bytes, 3)) return false;
    bits = (uint32_t)bytes[0] << 16 | (uint32_t)bytes[1] << 8 | bytes[2];
    return true;
}
