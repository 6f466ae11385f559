"""What is done in which order, how long it waits, and what must be in the house for it."""
