"""Everything that is computed: from a case to one frozen plan. Knows no language and reads no file."""
