"""README and DEVELOPERS.md say what is true."""
