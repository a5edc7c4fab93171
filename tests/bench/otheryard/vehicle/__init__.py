"""Who fires when, through which wire, and how it reaches the probe."""
