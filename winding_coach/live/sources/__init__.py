"""Where inputs come from: a serial port, a saved trace, a simulated meter. The only rooms that know what time it is."""
