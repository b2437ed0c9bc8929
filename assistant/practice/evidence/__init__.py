"""Scores, sign-off and refreshing; entry `signoff.py`. Supervisors sign these files: older ones must stay
readable."""
