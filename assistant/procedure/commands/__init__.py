"""Commands on site files, `assistant check` and its neighbours; what needs keys or the proof stands in the station."""
