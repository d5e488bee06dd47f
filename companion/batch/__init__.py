"""A whole caseload: many cases into many sets of files."""
