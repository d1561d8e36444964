"""What fails, and that the run survives it: with real sound, and with models at the loop's edges."""
