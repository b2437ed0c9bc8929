"""What the station tells of a record on the command line; entry `replay_cli.py`. The telling itself is in
`assistant/account`."""
