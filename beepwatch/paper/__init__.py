"""What the family prints: vector drawing and searchable text on A4 or Letter; the same data give the same bytes."""
