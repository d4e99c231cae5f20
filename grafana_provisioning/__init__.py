"""Grafana's data source and dashboards, built from code by `python -m grafana_provisioning.build`."""
