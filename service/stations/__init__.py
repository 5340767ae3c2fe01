"""The conversation at each station: a scan comes in, a verdict goes out."""
