"""Input formats, one file each; exactly one may match a file.

Callers use `find.read_recording`, `find.open_recording` and `find.read_table`, nothing else here.
"""
