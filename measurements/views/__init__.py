"""Pages of the bench: runs, uploads, files, instruments, methods."""
