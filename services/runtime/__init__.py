"""What every service stands on: the service protocol, bus, clock, host, durable state, logs and health."""
