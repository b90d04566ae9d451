/* Just enough of Arduino's names to compile the sketch for boards that are no AVR; host_model.cpp lets it run. */
#pragma once
#include <stdint.h>
#include <string.h>
enum { LOW, HIGH, INPUT, OUTPUT, INPUT_PULLUP, CHANGE, FALLING, RISING };
#define IRAM_ATTR
#define A0 26
#define A1 27
#define digitalPinToInterrupt(pin) (pin)
extern "C" {
void pinMode(int pin, int mode);
void digitalWrite(int pin, int level);
int digitalRead(int pin);
int analogRead(int pin);
void delayMicroseconds(unsigned us);
unsigned long micros(void);
void noInterrupts(void);
void interrupts(void);
void attachInterrupt(int number, void (*called)(void), int mode);
}
struct Port {
    void begin(long baud);
    int available();
    int read();
    int availableForWrite();
    int write(uint8_t byte);
    explicit operator bool();
};
extern Port Serial;
