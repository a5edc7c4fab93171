"""The live meters of the seal and the hiss check, and the touches that end a listening."""
