/* The names of the I2C library that the sketch uses; the device behind them is modelled in nau7802_model.h. */
#pragma once
#include <stddef.h>
#include <stdint.h>
struct TwoWire {
    void begin();
    void setClock(uint32_t hz);
    void beginTransmission(uint8_t address);
    size_t write(uint8_t byte);
    uint8_t endTransmission();
    size_t requestFrom(uint8_t address, size_t count);
    int read();
};
extern TwoWire Wire;
