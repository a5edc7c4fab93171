"""The probe's firmware."""

# At most 12 bytes; the greeting carries it, and the bench's package has the same one.
VERSION = "0.1.0"
