"""One definition for each fact: numbers and words."""
