"""Programs that run on the emulated board or on the unix port."""
