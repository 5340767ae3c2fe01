"""The scanner: pictures in, checked codes out, posted to the service in order."""
