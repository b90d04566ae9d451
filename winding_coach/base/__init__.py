"""What all rooms stand on: units, inputs, values, errors, files, the system."""
