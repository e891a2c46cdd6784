"""Other settings on the same log: what they would have commanded, and what that cannot know.

`replayed` makes the record that `record` describes; nothing is imported here, so that a report that
reads the record does not take the store along.
"""
