"""The commands: parse, read, call, write, print. One file a command."""
