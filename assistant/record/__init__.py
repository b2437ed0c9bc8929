"""The record: complete, true, and provable years later.

One canonical JSON line per fact, each naming the SHA-256 of the line before. The room knows facts only as
wire objects (`{"kind", "v", "data"}`), so it needs nothing of the core that makes them.
"""
