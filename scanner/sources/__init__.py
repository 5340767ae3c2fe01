"""Where pictures and texts come from: files, cameras, streams, hand scanners."""
