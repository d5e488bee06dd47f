"""Holds a guide that was made before against what this program computes today."""
