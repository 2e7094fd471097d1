"""What the terminal shows: tables and plain sentences."""
