/* The names of the SPI library that the sketch uses; the device behind them is modelled in ads1220_model.h. */
#pragma once
#include "Arduino.h"
enum { SPI_MODE0 = 0, SPI_MODE1 = 1, SPI_MODE2 = 2, SPI_MODE3 = 3 };
struct SPISettings {
    uint32_t hz;
    BitOrder order;
    uint8_t mode;
    SPISettings(uint32_t hz, BitOrder order, uint8_t mode) : hz(hz), order(order), mode(mode) {}
};
struct SPIClass {
    void begin();
    void beginTransaction(SPISettings settings);
    uint8_t transfer(uint8_t byte);
    void endTransaction();
};
extern SPIClass SPI;
