"""Workshops: a plan handed out to each place, what each place made of it, and all of it into the club's registry and log."""
