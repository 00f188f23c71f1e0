"""The ways to wake somebody: a speaker with a tone and a voice."""
