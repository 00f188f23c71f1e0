"""What `beepwatch care` prints and does."""
