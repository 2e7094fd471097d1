"""Input formats, one file each; exactly one may match a file."""
