"""The kernel's process-wide state for one call: its settings, and its printers. Both are put back whatever happens."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager

from converter.errors import ElbowroomError, ReadError


@contextmanager
def settings(words: Mapping[str, str], numbers: Mapping[str, int], refused: type[ElbowroomError]) -> Iterator[None]:
    """Exchange settings of the kernel, set for the length of a ``with`` block.

    Args:
        words, numbers: settings by name, as text and as whole numbers.
        refused: what to raise when the kernel takes a value for wrong.
    """
    from OCP.Interface import Interface_Static
    from OCP.STEPCAFControl import STEPCAFControl_Controller

    STEPCAFControl_Controller.Init_s()  # before this, settings have no value to put back
    old_words = {key: Interface_Static.CVal_s(key) for key in words}
    old_numbers = {key: Interface_Static.IVal_s(key) for key in numbers}
    with ExitStack() as back:
        for key, word in old_words.items():
            back.callback(Interface_Static.SetCVal_s, key, word)
        for key, number in old_numbers.items():
            back.callback(Interface_Static.SetIVal_s, key, number)
        for key, word in words.items():
            if not Interface_Static.SetCVal_s(key, word):
                raise refused(f"The CAD kernel refuses the setting {key} = {word}.")
        for key, number in numbers.items():
            if not Interface_Static.SetIVal_s(key, number):
                raise refused(f"The CAD kernel refuses the setting {key} = {number}.")
        yield


def kernel_failure(error: Exception) -> str:
    """What the kernel calls an exception of its own: to Python, none of them is kin to another.

    Raises:
        Exception: the same one, where it is none of the kernel's.
    """
    kind = type(error)
    if kind.__module__.partition(".")[0] != "OCP":
        raise error
    return kind.__name__.removeprefix("Standard_")


def damaged(name: str, why: str) -> ReadError:
    """That the kernel cannot read a file."""
    return ReadError(
        f"{name} is damaged: the CAD kernel cannot read it ({why}); export it again.", code="damaged-file", file=name
    )


@contextmanager
def shielded(name: str) -> Iterator[None]:
    """The kernel's own exceptions while it reads a file, as one sentence."""
    try:
        yield
    except Exception as error:
        raise damaged(name, kernel_failure(error)) from error


@contextmanager
def quiet() -> Iterator[None]:
    """The kernel's printers taken off, and put back in the same order."""
    from OCP.Message import Message, Message_Printer

    messenger = Message.DefaultMessenger_s()
    printers = list(messenger.Printers())
    messenger.RemovePrinters(Message_Printer.get_type_descriptor_s())
    try:
        yield
    finally:
        for printer in printers:
            messenger.AddPrinter(printer)
