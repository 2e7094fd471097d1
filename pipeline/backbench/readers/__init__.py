"""Input formats, one file each; exactly one may match a file.

Callers use `find.read_recording` and `find.read_table`; nothing else here is public.
"""
