"""The sentences that people read on the coach's page and from its commands, in one catalogue, ready for translation."""
