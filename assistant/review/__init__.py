"""The supervisor's pages: what needs a decision, what happened, signing, the board, the register."""
