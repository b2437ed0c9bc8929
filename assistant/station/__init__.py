"""The one place that owns the clock and knows every room: it wires hearing, core, record and voice together."""
