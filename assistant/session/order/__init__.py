"""What comes next: the step, or the bridge to it (`choosing`, `bridging`, `bridges`), what a moved opening brings
(`openings`), the start, and bringing a decision to rest (`settle`). A changed order is a change of rules: raise
RULES_VERSION."""
