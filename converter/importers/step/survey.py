"""What is in a body that is met the first time: tubes of straights and arcs, of a free curve, or of triangles."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from converter.findings import Clause
from converter.importers.registry import ReadOptions
from converter.importers.step.surfaces import KnownBody
from converter.model.drawing import Ignored
from converter.tolerances import DEFAULT

if TYPE_CHECKING:
    from converter.kernel.step.parts import StepBody
    from converter.kernel.step.tree import Instance


def survey(body: StepBody, instance: Instance, known_as: tuple[str, Any], options: ReadOptions) -> KnownBody:
    """What a body is.

    Args:
        body, instance: the body, and the part that it belongs to in its place.
        known_as: what it is called, and the matrix of its place (see `KnownBody`).
        options: ``take_all``.
    """
    from converter.importers.solids.read import find_tubes
    from converter.importers.solids.spine import may_be_swept, swept_tube
    from converter.importers.solids.swept_flat import swept_flat
    from converter.kernel.step.places import recognise, spine_of
    from converter.kernel.triangles import has_no_surfaces, is_of_facets

    name, matrix = known_as
    place = (body.shape, instance.location, name, DEFAULT)
    bare = has_no_surfaces(body.shape)
    if bare or is_of_facets(body.shape):
        return KnownBody(name, matrix, *recognise(_by_triangles, *place), bare=bare)
    find = partial(find_tubes, take_all=True) if options.take_all else find_tubes
    found = recognise(find, *place)
    if not found[0] and _may_be_facets(found[1]):
        measured = recognise(_by_triangles, *place)
        return KnownBody(name, matrix, *(measured if measured[0] else found))
    if may_be_swept(body.shape, found[0], DEFAULT):
        swept = spine_of(partial(swept_tube, found=found[0]), *place)
        if swept is not None and not isinstance(swept[0], Clause):
            return KnownBody(name, matrix, swept[1], [], swept[0])
        if swept is not None and not found[0]:
            why = Clause.of("solid-no-tube", part=name, why=swept[0])
            return KnownBody(name, matrix, [], [Ignored("solid", 1, why)])
    if not found[0]:
        swept = spine_of(swept_flat, *place)
        if swept is not None and not isinstance(swept[0], Clause):
            return KnownBody(name, matrix, swept[1], [], swept[0])
    return KnownBody(name, matrix, *found)


def _by_triangles(shape: Any, name: str, tol: Any) -> Any:
    from converter.importers.solids.facets import tubes_of_facets  # the mesh reader, which few files need

    return tubes_of_facets(shape, name, tol)


def _may_be_facets(ignored: list[Ignored]) -> bool:
    """Whether a body that is no tube is all flat, with as many faces as a tube in facets has at least."""
    from converter.kernel.triangles import FACETS

    for left in ignored:
        why = dict(left.why.values).get("why") if isinstance(left.why, Clause) else None
        if isinstance(why, Clause) and why.name == "solid-all-flat":
            faces = dict(why.values).get("faces")
            return isinstance(faces, int) and faces >= FACETS
    return False
