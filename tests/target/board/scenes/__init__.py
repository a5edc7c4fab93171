"""The emulated board beside the unix port: scenes, a day, a hand on the buttons, the logs compared."""
