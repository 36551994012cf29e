"""Standing the watch: a process that can be left alone, makes a pass at every forecast and every ten minutes, and calls the sailor."""
