"""The words of a virtual operator: what a trained person knows without being told, and what it chats about."""

# By command id; how each is said comes from the language pack.
TRAINED = ("confirm", "no", "started", "rewetted", "correction", "repeat", "resume", "cancel", "trouble", "how_long", "where",
           "dry_surface", "dropped_item", "torn_glove", "pressure_alarm", "power_cut", "wipe_reused", "touched",
           "spill", "splash", "agent_out", "unwell", "hand_over", "fire", "stop", "skip", "pause", "computer",
           "enclosure")
CHAT = (
    "it is rather warm in here today", "did anyone move the spare gloves", "the meeting is at half past two",
    "can you turn the radio down please", "I will have the report for you tomorrow", "mind the cable over there",
)
