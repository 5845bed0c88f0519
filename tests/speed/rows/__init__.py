"""Rows of the table of speed, one file each."""
