/* The meter's firmware, cycle by cycle: an ATmega328P in simavr with a modelled converter, crank switches and a port.
 *
 *     rig FIRMWARE.elf SCRIPT [--port LINK CLOCK]
 *
 * SCRIPT: lines "AT_US WORD VALUE" in the order of time; see `play`. What the firmware sends goes to stdout, with a
 * note of what the converter did as the last line of stderr; or to a pseudo-terminal that LINK leads to. CLOCK is a file of two 64-bit words: the
 * microseconds that have passed here, and those that the host has seen. The rig waits for the host, so that a busy
 * machine changes nothing. Bytes that nobody reads are dropped. The simulator is used for tests only.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <simavr/avr_adc.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <termios.h>
#include <unistd.h>

enum { DOUT = 2, SCK = 4, CRANK_A = 5, CRANK_B = 6 };
#define MHZ 16
#define POWER_DOWN_US 60 /* converter's data sheet: a clock high for longer switches it off */

static avr_t *avr;
static uint64_t now_us(void) { return avr->cycle / MHZ; }

static void drive(int pin, int level)
{
    static uint8_t held;
    held = (uint8_t)(level ? held | 1 << pin : held & ~(1 << pin));
    /* Each write to PORTD makes simavr restore an input's pull-up, unless it knows what drives the pin. */
    avr_ioport_external_t external = {.name = 'D', .mask = 1 << DOUT | 1 << CRANK_A | 1 << CRANK_B, .value = held};
    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('D'), &external);
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), pin), level);
}

static int levels[8] = {1, 1, 1, 1, 1, 1, 1, 1};
static void set_pin(int pin, int level) { drive(pin, levels[pin] = level); }

/* After a reset a level equal to the last one would be filtered, and the new ports would never hear of it. */
static void drive_all_anew(void)
{
    static const int PINS[] = {DOUT, CRANK_A, CRANK_B};
    for (int i = 0; i < 3; i++) {
        drive(PINS[i], !levels[PINS[i]]);
        drive(PINS[i], levels[PINS[i]]);
    }
}

/* -- the converter */

static struct {
    int32_t value;
    double period_us, next_us;
    int on, ready, clocks, sck, silent;
    uint32_t shift;
    uint64_t sck_at;
    /* what was seen */
    double highest_us, shortest_us, shortest_low_us;
    long conversions, taken, switched_off, torn, wrong_clocks, untaken;
} hx = {.period_us = 12500, .on = 1, .shortest_us = 1e9, .shortest_low_us = 1e9};

static void hx_start(void)
{
    hx.on = 1;
    hx.ready = hx.clocks = 0;
    hx.next_us = (double)now_us() + 4 * hx.period_us; /* settling time of the data sheet: four conversions */
    set_pin(DOUT, 1);
}

static avr_cycle_count_t hx_off(avr_t *a, avr_cycle_count_t when, void *p)
{
    (void)a, (void)when, (void)p;
    hx.on = 0;
    hx.switched_off++;
    set_pin(DOUT, 1);
    return 0;
}

static void hx_convert(void)
{
    hx.next_us += hx.period_us;
    if (!hx.on || hx.silent)
        return;
    hx.conversions++;
    if (hx.ready && hx.clocks > 0 && hx.clocks < 25)
        hx.torn++; /* new data while the old are being shifted out: what comes out now is neither */
    else if (hx.ready && hx.clocks == 0)
        hx.untaken++;
    else if (hx.ready && hx.clocks != 25)
        hx.wrong_clocks++;
    hx.shift = (uint32_t)hx.value & 0xFFFFFF;
    hx.clocks = 0;
    hx.ready = 1;
    set_pin(DOUT, 1);
    set_pin(DOUT, 0);
}

static void hx_sck(avr_irq_t *irq, uint32_t level, void *param)
{
    (void)irq, (void)param;
    if ((level & 1) == (uint32_t)hx.sck)
        return;
    hx.sck = level & 1;
    double lasted_us = (double)(avr->cycle - hx.sck_at) / MHZ;
    hx.sck_at = avr->cycle;
    if (hx.sck) {
        avr_cycle_timer_register(avr, POWER_DOWN_US * MHZ, hx_off, NULL);
        if (!hx.on)
            return;
        if (hx.clocks && lasted_us < hx.shortest_low_us)
            hx.shortest_low_us = lasted_us;
        if (!hx.ready)
            return;
        if (++hx.clocks <= 24)
            set_pin(DOUT, (hx.shift >> (24 - hx.clocks)) & 1);
        else {
            set_pin(DOUT, 1);
            hx.taken += hx.clocks == 25;
        }
        return;
    }
    avr_cycle_timer_cancel(avr, hx_off, NULL);
    if (!hx.on) {
        hx_start();
        return;
    }
    if (lasted_us > hx.highest_us)
        hx.highest_us = lasted_us;
    if (lasted_us < hx.shortest_us)
        hx.shortest_us = lasted_us;
}

/* -- the port */

static int port = -1;
static FILE *wire;
static const char *port_link;
static long sent;

#define AHEAD_US 20000 /* of the host's clock: less than the port holds, more than one conversion */
#define GIVEN_UP_S 60
static volatile uint64_t *host_clock; /* now here, seen by the host */

static void share_clock(const char *path)
{
    int file = open(path, O_RDWR);
    void *shared = file < 0 ? MAP_FAILED : mmap(NULL, 16, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    if (shared == MAP_FAILED) {
        perror("clock");
        exit(2);
    }
    host_clock = shared;
}

static void wait_for_host(void)
{
    host_clock[0] = now_us();
    for (long waited_us = 0; host_clock[0] > host_clock[1] + AHEAD_US; waited_us += 100) {
        if (waited_us > GIVEN_UP_S * 1000000L)
            exit(4);
        usleep(100);
    }
}

static void plug(void)
{
    char fresh[512];
    port = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (port < 0 || grantpt(port) || unlockpt(port)) {
        perror("pseudo-terminal");
        exit(2);
    }
    int slave = open(ptsname(port), O_RDWR | O_NOCTTY);
    struct termios raw;
    tcgetattr(slave, &raw);
    cfmakeraw(&raw);
    tcsetattr(slave, TCSANOW, &raw);
    close(slave);
    snprintf(fresh, sizeof fresh, "%s.new", port_link);
    unlink(fresh);
    if (symlink(ptsname(port), fresh) || rename(fresh, port_link)) {
        perror("link");
        exit(2);
    }
}

static void unplug(void)
{
    close(port);
    port = -1;
    unlink(port_link);
}

static void uart_sent(avr_irq_t *irq, uint32_t byte, void *param)
{
    (void)irq, (void)param;
    sent++;
    if (!port_link) {
        putc((int)byte, wire);
        return;
    }
    uint8_t b = (uint8_t)byte;
    /* Without a reader, or with one that is too slow, a byte is lost: a port never waits. */
    if (port >= 0 && write(port, &b, 1) != 1 && errno != EAGAIN && errno != EIO)
        perror("write");
}

static void uart_receive(uint8_t byte) { avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), byte); }

static void listen_to_host(void)
{
    uint8_t bytes[64];
    ssize_t n = port < 0 ? 0 : read(port, bytes, sizeof bytes);
    for (ssize_t i = 0; i < n; i++)
        uart_receive(bytes[i]);
}

/* -- the script */

static FILE *script;
static unsigned long long event_us;
static char word[16];
static long value;
static int over;

static void next_event(void)
{
    char line[128];
    value = 0;
    if (!fgets(line, sizeof line, script) || sscanf(line, "%llu %15s %li", &event_us, word, &value) < 2)
        strcpy(word, "end"), event_us = now_us();
}

static void play(void)
{
    if (!strcmp(word, "raw")) /* what the converter gives from now on */
        hx.value = (int32_t)value;
    else if (!strcmp(word, "period")) /* microseconds a conversion */
        hx.period_us = (double)value, hx.next_us = (double)now_us() + hx.period_us;
    else if (!strcmp(word, "silent")) /* 1: the converter is out of order, 0: it is back */
        hx.silent = (int)value, hx.ready = 0, set_pin(DOUT, 1);
    else if (!strcmp(word, "a")) /* level of the first crank switch; 0 is closed */
        set_pin(CRANK_A, (int)value);
    else if (!strcmp(word, "b"))
        set_pin(CRANK_B, (int)value);
    else if (!strcmp(word, "host")) /* a byte from the host */
        uart_receive((uint8_t)value);
    else if (!strcmp(word, "adc0") || !strcmp(word, "adc1")) /* millivolts at an analogue input */
        avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + word[3] - '0'), (uint32_t)value);
    else if (!strcmp(word, "reset")) { /* the reset button, or an opened port */
        uint64_t cycle = avr->cycle;
        avr_reset(avr);
        avr->cycle = cycle;
        avr->data[0x54] = (uint8_t)value; /* MCUSR */
        hx.sck = 0;
        drive_all_anew();
    } else if (!strcmp(word, "resetmid")) { /* the same, as soon as a conversion is half taken out */
        if (hx.clocks != 12) {
            event_us = now_us(); /* not yet */
            return;
        }
        strcpy(word, "reset");
        play();
        return;
    } else if (!strcmp(word, "unplug"))
        unplug();
    else if (!strcmp(word, "plug"))
        plug();
    else if (!strcmp(word, "garbage")) { /* noise on the lead: bytes that the firmware never sent */
        for (long i = 0; i < value; i++)
            uart_sent(NULL, (uint32_t)(i * 37 + 11) & 0xFF, NULL);
    } else if (!strcmp(word, "end"))
        over = 1;
    else {
        fprintf(stderr, "unknown word %s\n", word);
        exit(2);
    }
    next_event();
}

static void no_real_sleep(avr_t *a, avr_cycle_count_t cycles) { (void)a, (void)cycles; }

int main(int argc, char **argv)
{
    elf_firmware_t firmware = {0};
    /* The simulator's library prints to stdout what it loads. */
    wire = fdopen(dup(1), "wb");
    dup2(2, 1);
    if (argc < 3 || elf_read_firmware(argv[1], &firmware) || !(script = fopen(argv[2], "r"))) {
        fprintf(stderr, "rig: no firmware or no script\n");
        return 2;
    }
    avr = avr_make_mcu_by_name("atmega328p");
    avr_init(avr);
    avr->log = LOG_ERROR;
    firmware.frequency = MHZ * 1000000;
    avr_load_firmware(avr, &firmware);
    avr->frequency = MHZ * 1000000;
    avr->sleep = no_real_sleep;
    avr->vcc = avr->avcc = avr->aref = 5000;
    if (argc == 6 && !strcmp(argv[3], "--port")) {
        port_link = argv[4];
        share_clock(argv[5]);
        plug();
    }
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), uart_sent, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), SCK), hx_sck, NULL);
    avr->data[0x54] = 1; /* MCUSR: switched on */
    drive_all_anew();
    hx.next_us = 4 * hx.period_us;
    uint64_t looked_us = 0;
    next_event();
    while (!over) {
        int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed) {
            fprintf(stderr, "the firmware crashed\n");
            return 3;
        }
        uint64_t now = now_us();
        if ((double)now >= hx.next_us)
            hx_convert();
        while (!over && now >= event_us) {
            unsigned long long before_us = event_us;
            play();
            if (!strcmp(word, "resetmid") && event_us <= now && before_us <= now)
                break;
        }
        if (port_link && now - looked_us >= 1000) {
            looked_us = now;
            listen_to_host();
            wait_for_host();
        }
    }
    fclose(wire);
    fflush(stdout);
    unsigned ubrr = avr->data[0xC4] | avr->data[0xC5] << 8, double_speed = avr->data[0xC0] >> 1 & 1;
    fprintf(stderr,
            "{\"conversions\": %ld, \"taken\": %ld, \"untaken\": %ld, \"torn\": %ld, \"wrong_clocks\": %ld, "
            "\"switched_off\": %ld, \"high_us\": [%.3f, %.3f], \"low_us\": %.3f, \"sent\": %ld, \"baud\": %.0f, "
            "\"at_us\": %llu}\n",
            hx.conversions, hx.taken, hx.untaken, hx.torn, hx.wrong_clocks, hx.switched_off, hx.shortest_us, hx.highest_us,
            hx.shortest_low_us, sent, MHZ * 1e6 / ((double_speed ? 8 : 16) * (ubrr + 1.0)), (unsigned long long)now_us());
    if (port >= 0)
        unplug();
    return 0;
}
