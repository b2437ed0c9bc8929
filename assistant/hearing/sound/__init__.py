"""Sound until it is an utterance: sources, level, noise, mute, segmenter. New microphones go here; nothing
here knows a word."""
