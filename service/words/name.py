"""Names: what somebody called a set, a machine, a person."""


class Name(str):
    """Text that is the same in every language, whatever words it is made of."""

    __slots__ = ()
