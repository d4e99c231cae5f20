"""Bridge: the only service that speaks with devices; makes readings of raw traffic and relay payloads of commands."""
