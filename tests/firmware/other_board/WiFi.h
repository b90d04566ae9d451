/* The names of an ESP32 core's WiFi that the sketch uses, after that core's documented interface, from memory. */
#pragma once
#include <stdint.h>
struct WiFiClass {
    int begin(const char *name, const char *password);
};
extern WiFiClass WiFi;
struct WiFiClient {
    int number = 0;
    int available();
    int read();
    int write(uint8_t byte);
    uint8_t connected();
    int setNoDelay(bool on);
    explicit operator bool() { return number != 0; }
};
struct WiFiServer {
    explicit WiFiServer(uint16_t port);
    void begin();
    WiFiClient available();
};
