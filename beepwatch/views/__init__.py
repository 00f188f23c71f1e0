"""Tonight, week, month, and the evidence of each alarm, on the page: read from the history, never written here."""
