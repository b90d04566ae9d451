// The other sketch in this folder: a crank sender, on a battery at the handle. Included by the sketch, once, where config.h
// defines CRANK_SENDER. Each line holds all that a reader needs, since any line may be lost.

#if CRANK_A_PIN < 0
#error "A crank sender has CRANK_A_PIN"
#endif

static bool battery_low() {
#if BATTERY_PIN >= 0
    return 2L * analogRead(BATTERY_PIN) * ANALOGUE_MV / (ANALOGUE_MAX + 1) < BATTERY_LOW_MV;
#else
    return false;
#endif
}

void setup() {
    add_pulses_per_turn();
    if (CRANK_B_PIN >= 0) meter_add_field(fields, "ch", "q");
    port_begin();
    meter_sender_start(&sender, fields, micros());
    crank_begin();
#ifdef __AVR__
    set_sleep_mode(SLEEP_MODE_IDLE);
#endif
}

void loop() {
    sender.battery_low = battery_low();
    meter_sender_look(&sender, closed(CRANK_A_PIN), closed(CRANK_B_PIN), micros());
    while (PORT.available() > 0) PORT.read(); // nothing is asked of it
    send_waiting();
#ifdef __AVR__
    sleep_mode();
#endif
}
