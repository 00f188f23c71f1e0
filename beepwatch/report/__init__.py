"""What a clinic reads of a period: figures (frozen, pure), their words, two pages of paper, and one accessible file."""
