"""What contributors run."""
