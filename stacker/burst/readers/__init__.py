"""One reader for each kind of file, imported when a file of its kind is met."""
