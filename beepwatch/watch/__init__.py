"""The live loop: what is heard, told, written and woken, with its clock, threads and queue."""
