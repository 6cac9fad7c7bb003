"""The root of what is refused."""


class Refusal(Exception):
    """Something given can't be used; as text it is one line that says what, and what was due."""
