"""What a bench sends and a slot keeps: limit set, round, calibration."""
