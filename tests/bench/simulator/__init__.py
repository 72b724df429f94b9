"""An invented business to try policies of rounds on: chance that no policy changes, and what each makes of it."""
