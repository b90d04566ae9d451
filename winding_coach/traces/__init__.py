"""One wind, one file: the trace format and the files that hold it."""
