/* Just enough of Arduino's names to compile the sketch for boards that are no AVR; host_model.cpp lets it run.
 *
 * Types as in the common interface of newer cores (RP2040, Uno R4): levels and modes are enumerations, which no int turns
 * into. Read in the sources of these cores, not copied.
 */
#pragma once
#include <stddef.h>
#include <stdint.h>
#include <string.h>
typedef uint8_t pin_size_t;
typedef enum { LOW = 0, HIGH = 1, CHANGE = 2, FALLING = 3, RISING = 4 } PinStatus;
typedef enum { INPUT = 0, OUTPUT = 1, INPUT_PULLUP = 2 } PinMode;
typedef enum { LSBFIRST = 0, MSBFIRST = 1 } BitOrder;
typedef void (*voidFuncPtr)(void);
#define IRAM_ATTR
#define A0 26
#define A1 27
#define digitalPinToInterrupt(pin) (pin)
extern "C" {
void pinMode(pin_size_t pin, PinMode mode);
void digitalWrite(pin_size_t pin, PinStatus level);
PinStatus digitalRead(pin_size_t pin);
int analogRead(pin_size_t pin);
void delayMicroseconds(unsigned int us);
unsigned long micros(void);
void noInterrupts(void);
void interrupts(void);
void attachInterrupt(pin_size_t number, voidFuncPtr called, PinStatus mode);
}
struct Port {
    void begin(unsigned long baud);
    int available();
    int read();
    int availableForWrite();
    size_t write(uint8_t byte);
    size_t write(const uint8_t *bytes, size_t count);
    explicit operator bool();
};
extern Port Serial;
