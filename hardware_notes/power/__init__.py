"""The energy budget and the three supplies."""
