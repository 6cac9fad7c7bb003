"""The root of what is refused."""


class Refusal(Exception):
    """Something given can't be used; as text it is one line that says what, and what was due.

    `exit_code` is what the shell is told: 2, bad input, unless a run had begun.
    """

    exit_code = 2
