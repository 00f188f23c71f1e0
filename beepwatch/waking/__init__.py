"""What to do about an alarm: pure rules, orders and words; no clock, no device."""
