"""A transducer of two coupled resonances, and the square waves that drive it."""
