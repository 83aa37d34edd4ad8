"""Workshops: a plan handed out to each place, what each made of it, and all of it into registry and log."""
