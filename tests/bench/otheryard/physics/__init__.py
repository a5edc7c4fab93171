"""Air, a piston's beam, levels and strips of noise."""
