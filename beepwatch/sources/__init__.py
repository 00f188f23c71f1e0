"""Where sound comes from: a microphone or a recording, in blocks of its own rate, and the way to 16 kHz."""
