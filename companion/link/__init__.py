"""What the code on paper holds: keys, signature, format."""
