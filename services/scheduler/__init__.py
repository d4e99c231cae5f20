"""Takes batches through their profiles: steps, calendar, gravity, forecast."""
