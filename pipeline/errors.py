"""The one error that is meant for users."""


class UserError(Exception):
    """Bad input, told in one plain sentence: the file, row or key at fault, and the mend.

    The command line prints the sentence on standard error and ends with status 2; no traceback follows.
    """
