"""The notifier: makes alarms of conditions and lost services, and tells people."""
