"""Commands that fold a record: verify --deep, export, tag."""
