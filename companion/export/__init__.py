"""The plan for other programs: text, JSON, calendar."""
