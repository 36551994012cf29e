"""What can be asked of the watch, one command a module: parse, call, print."""
