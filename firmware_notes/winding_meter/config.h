/* What may differ from meter to meter. Pins are Arduino numbers; -1 means that there is none. */
#ifndef CONFIG_H
#define CONFIG_H

#define CONFIG_TEXT_(value) #value
#define CONFIG_TEXT(value) CONFIG_TEXT_(value)

/* Boards: what is not named here is as on an Uno. */
#if defined(ARDUINO_ARCH_ESP32)
#define BOARD "esp32"
#define DOUT_PIN 16 /* pins 0, 2, 5, 12 and 15 decide how an ESP32 starts: leave them free; 18, 19, 23 are its SPI, 21, 22 its I2C */
#define SCK_PIN 17
#ifndef CRANK_A_PIN
#define CRANK_A_PIN 27
#endif
#ifndef CS_PIN
#define CS_PIN 4
#endif
#define ANALOGUE_MV 3300
#define ANALOGUE_MAX 4095L
#elif defined(ARDUINO_ARCH_RP2040)
#ifndef BOARD
#define BOARD "pico"
#endif
#define ANALOGUE_MV 3300
#endif
#ifndef BOARD
#define BOARD "uno"
#endif

/* Converters. A row: its number here, its name and gain for the hello, how it is read, and for those that shift out 24 bits
 * how many clocks a conversion takes in all, which tells them what comes next.
 *
 *  CONVERTER_          read by              ready line (DOUT_PIN)      other pins                  RATE
 *  HX711, HX711_64     converter_shift.h    DT, falls                  SCK_PIN                     10 or 80, by a link
 *  ADS1232             converter_shift.h    DRDY/DOUT, falls           SCK_PIN                     10 or 80, by a link
 *  NAU7802             converter_nau7802.h  DRDY, rises                the board's SDA, SCL        10, 20, 40, 80, 320
 *  ADS1220             converter_ads1220.h  DRDY, falls                CS_PIN; SCK, MOSI, MISO     20, 45, 90, 175, 330
 */
#define CONVERTER_HX711 1    /* gain 128, channel A */
#define CONVERTER_HX711_64 2 /* gain 64, channel A: cells of 2 mV/V and more */
#define CONVERTER_ADS1232 3  /* its gain is set by links: 128 */
#define CONVERTER_NAU7802 4  /* gain 128, its own 3.0 V for the cell */
#define CONVERTER_ADS1220 5  /* gain 128, between AIN1 and AIN2, against its supply */
#ifndef CONVERTER
#define CONVERTER CONVERTER_HX711
#endif
#if CONVERTER == CONVERTER_HX711
#define CONVERTER_NAME "hx711"
#define CONVERTER_GAIN "128"
#define CONVERTER_CODE "converter_shift.h"
#define CONVERTER_CLOCKS 25
#elif CONVERTER == CONVERTER_HX711_64
#define CONVERTER_NAME "hx711"
#define CONVERTER_GAIN "64"
#define CONVERTER_CODE "converter_shift.h"
#define CONVERTER_CLOCKS 27
#elif CONVERTER == CONVERTER_ADS1232
#define CONVERTER_NAME "ads1232"
#define CONVERTER_GAIN "128"
#define CONVERTER_CODE "converter_shift.h"
#define CONVERTER_CLOCKS 25
#elif CONVERTER == CONVERTER_NAU7802
#define CONVERTER_NAME "nau7802"
#define CONVERTER_GAIN "128"
#define CONVERTER_CODE "converter_nau7802.h"
#elif CONVERTER == CONVERTER_ADS1220
#define CONVERTER_NAME "ads1220"
#define CONVERTER_GAIN "128"
#define CONVERTER_CODE "converter_ads1220.h"
#ifndef RATE
#define RATE 90
#endif
#else
#error "config.h does not know this converter"
#endif

/* ESP32 only: with a network's name the lines go to whoever opens socket://ADDRESS:7007, instead of USB. Anybody in that
 * network can read them; use one of your own. */
/* #define WIFI_SSID "my network" */
/* #define WIFI_PASSWORD "its password" */
#ifndef WIFI_PORT
#ifdef CRANK_SENDER
#define WIFI_PORT 7008
#else
#define WIFI_PORT 7007
#endif
#endif

#ifndef RATE
#define RATE 80 /* conversions a second: a number of the table above */
#endif

#ifndef DOUT_PIN
#define DOUT_PIN 2 /* the ready line; must be able to interrupt: 2 or 3 on an ATmega328P */
#endif
#ifndef SCK_PIN
#define SCK_PIN 4
#endif
#ifndef CS_PIN
#define CS_PIN 10
#endif

/* Crank switches (reed, Hall or contact) close to ground; the pins' own pull-ups are used. */
#ifndef CRANK_A_PIN
#define CRANK_A_PIN 5
#endif
#ifndef CRANK_B_PIN
#define CRANK_B_PIN -1 /* a second switch, a little further on the same circle, tells the direction */
#endif
#ifndef CRANK_PULSES_PER_TURN
#define CRANK_PULSES_PER_TURN 1 /* magnets on the circle, or slots of an encoder's wheel */
#endif
#ifndef CRANK_BOUNCE_US
#define CRANK_BOUNCE_US 3000 /* a switch must be steady for so long; 300 for a Hall sensor or a light barrier */
#endif

/* With this defined the board is no meter but a crank sender: at the handle, on a battery, with a radio of its own. It reads
 * the crank switches and sends their count to whoever opens socket://ADDRESS:WIFI_PORT, or by a radio at its serial port. */
/* #define CRANK_SENDER */
#ifndef BATTERY_PIN
#define BATTERY_PIN -1 /* half of the battery's voltage, by two equal resistors */
#endif
#ifndef BATTERY_LOW_MV
#define BATTERY_LOW_MV 3500 /* of one lithium cell */
#endif

/* A draw-wire potentiometer at the hook: mm at 0 and mm at full scale of the analogue input. */
#ifndef DISTANCE_PIN
#define DISTANCE_PIN -1
#endif
#ifndef DISTANCE_AT_ZERO_MM
#define DISTANCE_AT_ZERO_MM 0
#endif
#ifndef DISTANCE_AT_FULL_MM
#define DISTANCE_AT_FULL_MM 4000
#endif

/* An analogue thermometer of 10 mV a degree with 500 mV at 0 degC, on a 5 V board. */
#ifndef TEMPERATURE_PIN
#define TEMPERATURE_PIN -1
#endif
#ifndef ANALOGUE_MV
#define ANALOGUE_MV 5000
#endif
#ifndef ANALOGUE_MAX
#define ANALOGUE_MAX 1023L /* of analogRead */
#endif

/* Readings this far from 0 are flagged as overload: full scale unless the cell's rating in counts is known. */
#ifndef OVERLOAD_COUNTS
#define OVERLOAD_COUNTS 8388607L
#endif
#endif
