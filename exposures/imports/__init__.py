"""Spreadsheets as clubs keep them, brought in: read, tried row by row, imported, undone."""
