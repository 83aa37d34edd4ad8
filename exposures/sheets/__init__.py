"""What papers and the log put on printed sheets."""
