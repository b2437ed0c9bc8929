"""What every room may know of words: the closed vocabulary, what a value may be spelt with, the assistant's own
sentences in each language. Imports nothing of the project; a new sentence goes into every language at once."""
