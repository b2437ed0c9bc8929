"""Sound in, words out: source -> level -> segmenter -> recogniser -> judge. Refuse first, be quick second."""
