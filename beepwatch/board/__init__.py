"""The board: how things stand now, put up by the loop, read by page, bedside and hub."""
