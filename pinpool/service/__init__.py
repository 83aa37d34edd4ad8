"""What the stand-alone service has beyond the apps: a host site brings its own."""
