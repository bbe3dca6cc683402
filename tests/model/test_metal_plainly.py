"""What is plain of a tube's metal without its frames, against cutting it into pieces."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from converter.model.bends import Bend, BendTable, Placement
from converter.model.metal import NoMetalError, metal, metal_findings, surely_possible
from converter.model.run import Run, Tube
from converter.model.section import Section

SECTIONS = (
    Section("round", 44.45, 3.048),
    Section("square", 38.1, 2.1, corner=4.2),
    Section("rectangular", 60.0, 2.0, height=20.0, corner=3.0),
)
#: Radii around half the sizes of these sections, at which a tube passes through the axis it bends about.
RADII = st.one_of(st.none(), st.floats(9.0, 34.0), st.sampled_from([19.05, 22.225, 30.0, 114.3]))
STRAIGHTS = st.one_of(st.floats(-0.1, 120.0), st.sampled_from([0.0, 1e-7, -1e-7]))
BENDS = st.builds(Bend, STRAIGHTS, st.floats(-179.0, 180.0), st.floats(1.0, 200.0), RADII)


@given(st.lists(BENDS, max_size=4), STRAIGHTS, st.sampled_from(SECTIONS), st.booleans())
@settings(max_examples=300)
def test_what_is_surely_possible_can_be_cut_into_pieces(bends, tail, section, closed):
    run = Run("T", "RAIL", closed, BendTable(tuple(bends), tail), Placement())
    try:
        found = metal(run, section)
        possible = not found.closed and all(piece.corner is None for piece in found.pieces)
    except NoMetalError:
        possible = False
    assert possible or not surely_possible(run, section)


def doubtful(section: Section) -> dict[str, Run]:
    """Runs of which the frames must tell: through its own axis, overlapping, a mitre, a ring."""
    half = section.outer.half_diagonal
    rows = {
        "tight": ((Bend(100.0, 0.0, 90.0, half - 0.5),), 100.0),
        "overlaps": ((Bend(100.0, 0.0, 90.0, 150.0), Bend(-1.0, 0.0, 90.0, 150.0)), 100.0),
        "mitre": ((Bend(100.0, 0.0, 90.0, None),), 100.0),
    }
    found = {name: Run(name, "RAIL", False, BendTable(*row), Placement()) for name, row in rows.items()}
    ring = BendTable(tuple(Bend(100.0, 0.0, 90.0, 150.0) for _ in range(4)), 0.0)
    return found | {"ring": Run("ring", "RAIL", True, ring, Placement())}


@pytest.mark.parametrize("section", SECTIONS, ids=lambda one: one.shape)
def test_what_is_told_of_metal_is_what_its_pieces_tell(section):
    """Beside a tube of which all is plain; the pieces are asked for where there is a doubt, and only there."""
    plain = Run("plain", "RAIL", False, BendTable((Bend(100.0, 0.0, 90.0, 150.0),), 100.0), Placement())
    tubes = [Tube(run, section) for run in (plain, *doubtful(section).values())]
    assert [surely_possible(tube.run, section) for tube in tubes] == [True, False, False, False, False]

    def body(tube: Tube):
        try:
            return metal(tube.run, section)
        except NoMetalError as error:
            return error

    told = metal_findings(tubes, lambda: [body(tube) for tube in tubes])
    impossible = [one.finding for one in map(body, tubes) if isinstance(one, NoMetalError)]
    assert [one for one in told if one.code == "no-solid"] == impossible
    assert {(one.tube, one.code) for one in told} >= {("overlaps", "no-solid")}
    assert "mitre" not in {one.tube for one in told}, "which the audit tells"
    assert not metal_findings(tubes[:1], lambda: pytest.fail("nothing is in doubt"))
