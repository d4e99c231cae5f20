"""Control loops, interlocks and shared capacity: readings and setpoints in, commands out."""
