"""What is said: the prompt that is open (`prompts`) and completions (`announcing`). The sentences themselves, in each
language, stand in `assistant/language`. Wording may be changed; golden sessions that hold it are then written anew."""
