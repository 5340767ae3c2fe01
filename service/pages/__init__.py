"""The pages: few, server-rendered, each from a typed view of what it shows."""
