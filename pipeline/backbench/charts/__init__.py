"""Charts, one file each; every chart takes a frame."""
