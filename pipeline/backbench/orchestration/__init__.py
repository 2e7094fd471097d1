"""Runs that are recorded and retried: the orchestrator, its server, the cluster."""
