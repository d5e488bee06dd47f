"""What is true of the world, each fact with its source. Imports nothing of ours."""
