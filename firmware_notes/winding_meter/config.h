/* What may differ from meter to meter. Pins are Arduino numbers; -1 means that there is none. */
#ifndef CONFIG_H
#define CONFIG_H

#ifndef BOARD
#define BOARD "uno"
#endif
#ifndef RATE
#define RATE "80" /* conversions a second by the module's rate pin: "10" or "80" */
#endif

#ifndef DOUT_PIN
#define DOUT_PIN 2 /* must be able to interrupt: 2 or 3 on an ATmega328P */
#endif
#ifndef SCK_PIN
#define SCK_PIN 4
#endif

/* Crank switches (reed, Hall or contact) close to ground; the pins' own pull-ups are used. */
#ifndef CRANK_A_PIN
#define CRANK_A_PIN 5
#endif
#ifndef CRANK_B_PIN
#define CRANK_B_PIN -1 /* a second switch, a little further on the same circle, tells the direction */
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

/* Readings this far from 0 are flagged as overload: full scale unless the cell's rating in counts is known. */
#ifndef OVERLOAD_COUNTS
#define OVERLOAD_COUNTS 8388607L
#endif
#endif
