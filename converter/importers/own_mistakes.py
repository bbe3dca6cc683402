"""Whose fault is an exception that comes up while a library reads a file: the file's, or a mistake in this package?"""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent.parent
#: What a line of ours raises where it is wrong, whatever the file holds.
_SLIPS = (AttributeError, TypeError, NameError, AssertionError, ImportError, NotImplementedError)


def raise_own_mistake(error: BaseException) -> None:
    """Raise an exception again that a wrong line of this package raised, so that no file is blamed for it.

    What libraries raise, and what lines of ours raise for values that they cannot take (`ValueError`, `KeyError` and
    the like), is left to the caller to tell.
    """
    at = error.__traceback__
    while at is not None and at.tb_next is not None:
        at = at.tb_next
    if at is None or not isinstance(error, _SLIPS):
        return
    if Path(at.tb_frame.f_code.co_filename).resolve().is_relative_to(_PACKAGE):
        raise error
