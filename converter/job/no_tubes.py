"""A drawing that holds no tube: what it holds instead, and what to do about it."""

from __future__ import annotations

from converter.model.drawing import Drawing
from converter.quoting import LONGEST_PATH, quoted, shortened
from converter.units import Display


def no_runs_sentence(drawing: Drawing, display: Display) -> str:
    """One sentence: no runs, and what the file held instead."""
    held = [f"{shortened(one.amount)} ({one.why_in(display)})" for one in drawing.ignored[:4]]
    seen = ", ".join(held)
    kinds = {one.kind for one in drawing.ignored}
    if "body" in kinds:  # of a mesh
        todo = "export each tube as a body of its own and in finer facets, or its centerline as DXF or STEP"
    elif "layout" in kinds:
        todo = "name the layout that has the tubes, or draw them in model space"
    elif "solid" in kinds:
        todo = "export each tube as a solid of straights and circular bends, or its centerline (the sketch or path)"
    else:
        todo = "draw the tubes as lines, arcs or polylines"
    if seen:
        return f"No centerline was found in {quoted(drawing.source, LONGEST_PATH)}; it holds {seen}: {todo}."
    return (
        f"No centerline was found in {quoted(drawing.source, LONGEST_PATH)}: "
        "draw the tubes as lines, arcs or polylines in model space."
    )
