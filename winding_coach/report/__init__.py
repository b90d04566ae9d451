"""Pictures and pages, made of what other rooms found. Text in, text out; the caller writes the file."""
