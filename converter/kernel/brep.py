"""BREP text to the kernel's shapes."""

from __future__ import annotations

import io

from converter.errors import ReadError
from converter.kernel import require
from converter.kernel.session import kernel_failure, quiet
from converter.kernel.step.tree import Instance


def load_brep(data: bytes, name: str) -> Instance:
    """The shape that a BREP file holds, as one part.

    Args:
        data: the file; name: what messages call it.

    Raises:
        ReadError: the kernel cannot read it.
        MissingLibraryError: the CAD kernel is not installed.
    """
    require()
    from OCP.BRep import BRep_Builder
    from OCP.BRepTools import BRepTools
    from OCP.TopoDS import TopoDS_Shape

    shape = TopoDS_Shape()
    try:
        with quiet():
            BRepTools.Read_s(shape, io.BytesIO(data), BRep_Builder())
    except Exception as error:
        kernel_failure(error)
        raise _refused(name) from error
    if shape.IsNull():
        raise _refused(name)
    return Instance.lone("", shape, 0)


def _refused(name: str) -> ReadError:
    return ReadError(
        f"{name} is damaged: the CAD kernel cannot read its shapes; export it again.", code="damaged-file", file=name
    )
