"""STEP files written by hand, entity by entity after ISO 10303-21, -42 and -43, for what no exporter at hand writes."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from typing import Any

from converter.importers.step.read import read_step
from converter.kernel.step.write import StepItem, write_step
from converter.model.run import Run
from converter.reducer import reduce_drawing

MM = ["( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.MILLI.,.METRE.) )"]
METRE = ["( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT($,.METRE.) )"]
EXPONENTS = "DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.)"


def step_bytes(items: Sequence[StepItem], **given: Any) -> bytes:
    """What `write_step` writes, as bytes."""
    into = BytesIO()
    write_step(items, into, **given)
    return into.getvalue()


def based(name: str, factor: float, base: Sequence[str]) -> list[str]:
    """A conversion-based length unit of ``factor`` times the base; entities #91, #92, ..."""
    return [
        f"( CONVERSION_BASED_UNIT('{name}',#92) LENGTH_UNIT() NAMED_UNIT(#93) )",
        f"LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE({factor}),#94)",
        EXPONENTS,
        base[0],
    ]


def hook(degrees: bool = False, scale: float = 1.0) -> list[str]:
    """#110 a straight of 100, #116 an arc of radius 50 by 90 degrees, #123 a straight of 80; in file units."""
    end = 90.0 if degrees else 1.5707963267948966
    s = scale
    return [
        "#101=CARTESIAN_POINT('',(0.,0.,0.));",
        f"#102=CARTESIAN_POINT('',({100 * s},0.,0.));",
        f"#103=CARTESIAN_POINT('',({150 * s},{50 * s},0.));",
        "#110=POLYLINE('first',(#101,#102));",
        f"#111=CARTESIAN_POINT('',({100 * s},{50 * s},0.));",
        "#112=DIRECTION('',(0.,0.,1.));",
        "#113=DIRECTION('',(0.,-1.,0.));",
        "#114=AXIS2_PLACEMENT_3D('',#111,#112,#113);",
        f"#115=CIRCLE('',#114,{50 * s});",
        f"#116=TRIMMED_CURVE('bend',#115,(PARAMETER_VALUE(0.)),(PARAMETER_VALUE({end})),.T.,.PARAMETER.);",
        "#120=DIRECTION('',(0.,1.,0.));",
        "#121=VECTOR('',#120,1.);",
        "#122=LINE('',#103,#121);",
        f"#123=TRIMMED_CURVE('last',#122,(PARAMETER_VALUE(0.)),(PARAMETER_VALUE({80 * s})),.T.,.PARAMETER.);",
    ]


def build(
    entities: Sequence[str],
    roots: str = "#110,#116,#123",
    *,
    unit: Sequence[str] | None = MM,
    degrees: bool = False,
    name: str | None = "rail",
    kind: str = "GEOMETRICALLY_BOUNDED_WIREFRAME_SHAPE_REPRESENTATION",
    group: str = "GEOMETRIC_CURVE_SET",
    schema: str = "AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }",
    more: Sequence[str] = (),
) -> str:
    """A file of one part (or of no product at all, without a name) whose curve set holds ``roots``."""
    lines = []
    if name is not None:
        lines += [
            "#1=APPLICATION_CONTEXT('');",
            "#2=PRODUCT_CONTEXT('',#1,'mechanical');",
            f"#3=PRODUCT('{name}','{name}','',(#2));",
            "#4=PRODUCT_DEFINITION_FORMATION('','',#3);",
            "#5=PRODUCT_DEFINITION_CONTEXT('part definition',#1,'design');",
            "#6=PRODUCT_DEFINITION('design','',#4,#5);",
            "#7=PRODUCT_DEFINITION_SHAPE('','',#6);",
            "#8=SHAPE_DEFINITION_REPRESENTATION(#7,#20);",
        ]
    lines += [f"#{91 + i}={body};" for i, body in enumerate(unit or ())]
    if degrees:
        lines += [
            "#96=( CONVERSION_BASED_UNIT('DEGREE',#97) NAMED_UNIT(#99) PLANE_ANGLE_UNIT() );",
            "#97=PLANE_ANGLE_MEASURE_WITH_UNIT(PLANE_ANGLE_MEASURE(0.017453292519943295),#98);",
            "#98=( NAMED_UNIT(*) PLANE_ANGLE_UNIT() SI_UNIT($,.RADIAN.) );",
            "#99=DIMENSIONAL_EXPONENTS(0.,0.,0.,0.,0.,0.,0.);",
        ]
    else:
        lines += ["#96=( NAMED_UNIT(*) PLANE_ANGLE_UNIT() SI_UNIT($,.RADIAN.) );"]
    units = "#91,#96" if unit else "#96"
    lines += [
        f"#90=( GEOMETRIC_REPRESENTATION_CONTEXT(3) GLOBAL_UNIT_ASSIGNED_CONTEXT(({units})) "
        "REPRESENTATION_CONTEXT('','3D') );",
        f"#20={kind}('',(#21),#90);",
        f"#21={group}('',({roots}));",
        *entities,
        *more,
    ]
    return (
        "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\n"
        "FILE_NAME('','2026-01-01T00:00:00',(''),(''),'','by hand','');\n"
        f"FILE_SCHEMA(('{schema}'));\nENDSEC;\nDATA;\n" + "\n".join(lines) + "\nENDSEC;\nEND-ISO-10303-21;\n"
    )


def runs_of(path: Path, text: str | bytes | None = None) -> list[Run]:
    """The runs of a STEP file, written first when its text is given."""
    if text is not None:
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return reduce_drawing(read_step(path))[0]


def rows(run: Run) -> list[float]:
    """Feed, rotation, angle and CLR of every bend, then the tail."""
    return [v for b in run.table.bends for v in (b.feed, b.rotation, b.angle, b.clr or 0.0)] + [run.table.tail]
