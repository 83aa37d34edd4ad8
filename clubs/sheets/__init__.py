"""Printed sheets: a document of blocks, checked, issued under a number, and typeset as PDF or SVG."""
