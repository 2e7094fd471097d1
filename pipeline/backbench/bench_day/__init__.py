"""Before the ingest: a review begun, its captures planned, played, checked and cut."""
