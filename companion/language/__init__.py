"""One language: its words, numbers, dates and direction."""
