"""The page that is read: words, tables and drawings of one plan in one language, and its PDF."""
