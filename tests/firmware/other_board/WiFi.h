/* The names of an ESP32 core's WiFi that the sketch uses. Its write(byte) is a packet of its own. */
#pragma once
#include <stddef.h>
#include <stdint.h>
struct WiFiClass {
    int begin(const char *name, const char *password);
};
extern WiFiClass WiFi;
struct WiFiClient {
    int number = 0;
    int available();
    int read();
    size_t write(uint8_t byte);
    size_t write(const uint8_t *bytes, size_t count);
    uint8_t connected();
    int setNoDelay(bool on);
    explicit operator bool() { return number != 0; }
};
struct WiFiServer {
    explicit WiFiServer(uint16_t port);
    void begin();
    WiFiClient available();
};
