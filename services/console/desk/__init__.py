"""What pages show and take in, worked out before anything is drawn: pure, and without a screen."""
