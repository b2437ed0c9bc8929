"""From the model to the plan that the core runs: includes and `each` written out, texts filled, times worked out."""
