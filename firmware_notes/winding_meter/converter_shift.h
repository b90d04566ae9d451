// Converters that shift out 24 bits by a clock of the board: HX711, ADS1232. Included by the sketch, once.
// The ready line falls when a conversion is there; 24 clocks take it out, one or more choose the next gain.

#define READY_EDGE FALLING

static bool converter_ready() { return digitalRead(DOUT_PIN) == LOW; }

static void converter_begin() {
    pinMode(SCK_PIN, OUTPUT);
    pinMode(DOUT_PIN, INPUT_PULLUP); // a converter that is not there reads as never ready
}

static void converter_start() {
    // Over 60 us of high clock switch the converter off; the fall switches it on, wherever in a conversion it was.
    digitalWrite(SCK_PIN, HIGH);
    delayMicroseconds(100);
    digitalWrite(SCK_PIN, LOW);
}

// Take a conversion out; false where there was none.
static bool converter_take(uint32_t &bits) {
    bits = 0;
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
    // After its last clock a converter holds the line high. Low still: nothing is there, or it has no supply.
    return digitalRead(DOUT_PIN) == HIGH;
}
