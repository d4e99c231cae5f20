"""The services: one folder each, a core that decides and a shell that touches the world."""
