"""What a run is at, for others to read: a small file, or lines on a loopback socket. Nothing can be asked there."""
