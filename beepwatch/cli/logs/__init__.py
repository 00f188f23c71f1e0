"""What `beepwatch history` prints and does."""
