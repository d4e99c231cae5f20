"""The `coldside` command, one module a group of subcommands."""
