"""What stands in for a board, and for the chip's peripherals."""
