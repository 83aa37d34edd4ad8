"""A club's cameras, papers and times on other people's web pages: what a keeper switched on, for everybody to read."""
