"""What `beepwatch review` writes: what was heard, in the order in which it became known, in three formats."""
