"""Where people look and act: pages and a REST interface in one application, live from the bus."""
