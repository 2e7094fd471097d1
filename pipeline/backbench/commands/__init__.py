"""The commands, a group of them a file; cli.py gathers them."""
