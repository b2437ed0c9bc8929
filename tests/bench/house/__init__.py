"""What the house weighs: lines, circles, findings, and the way of a word, traced."""
