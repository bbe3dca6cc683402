"""``elbowroom audit``: findings against the shop file; the exit status tells."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from converter.cli import options
from converter.cli.console import Console
from converter.cli.seen import picture, sketch_from

if TYPE_CHECKING:
    from converter.api import Result


@click.command(
    short_help="Check drawings against the shop: what cannot be bent, and why.",
    epilog=options.example(
        "elbowroom audit rail.dxf --shop myshop.toml --section 1.75x0.120in",
        "elbowroom audit *.dxf --shop myshop.toml --job job.toml --json",
        reads=True,
    ),
)
@click.argument("sources", metavar="INPUT...", nargs=-1, required=True)
@options.reading
@options.reducing
@options.metal
@options.showing
@picture
@options.as_json
@options.talking
def audit(sources: tuple[str, ...], **given: Any) -> int:
    """Check every bend of every INPUT against the shop's dies and machines.

    Each finding names the tube and the bend, what was measured, the limit, and what would cure
    it. Exit status 0: it can be bent; 1: an error would scrap a stick; 2: a file could not be read.
    """
    console = options.console_from(given)
    sketch = sketch_from(given, sources)
    settings = sketch.settings(options.settings_from(given))

    from converter.api import check
    from converter.findings import has_errors
    from converter.pause import let_go
    from converter.progress import steps

    results = []
    with console.progress(f"checking {sources[0]}" if len(sources) == 1 else "checking"):
        for source in steps(sources, "files"):
            results.append(check(sketch.load(source, settings, console)))
            let_go(len(sources))
    sketch.draw(results[0], console)
    if console.as_json:
        console.json(audit_document(results))
    else:
        for i, result in enumerate(results):
            if i:
                console.result("")
            console.result(verdict(result, console))
    return 1 if any(has_errors(result.findings) for result in results) else 0


def audit_document(results: list[Result]) -> dict[str, Any]:
    """``elbowroom/audit/1``: per input what was checked and everything that was found (docs/commands.md)."""
    from dataclasses import asdict

    from converter.exporters.table_json import finding_value

    return {
        "schema": "elbowroom/audit/1",
        "inputs": [
            {
                "source": result.source,
                "shop": result.shop.name,
                "demo_shop": result.demo_shop,
                "tubes": len(result.tubes),
                "bends_checked": result.checked,
                "tolerances": asdict(result.tolerances),
            }
            for result in results
        ],
        "findings": [
            {
                "source": result.source,
                **finding_value(finding),
                "layer": finding.layer,
                "handle": finding.handle,
                "cure": finding.cure or None,
            }
            for result in results
            for finding in result.findings
        ],
    }


def verdict(result: Result, console: Console) -> str:
    """What was checked, every finding, the tubes to look at, and the sum of it in one line."""
    from converter.cli.grid import fill
    from converter.cli.main import one_line
    from converter.cli.page import bold
    from converter.cli.tables import heading
    from converter.cli.text import counted, findings_text, ignored_text, tally
    from converter.findings import ERROR

    lines = [heading(result)]
    if result.findings:
        lines += ["", findings_text(result.findings, everything=console.verbose), ""]
    left_out = ignored_text(result.drawing.ignored)
    if left_out:
        lines += [left_out, ""]
    overview = tubes_to_look_at(result, everything=console.verbose)
    if overview:
        lines += [overview, ""]
    bad = {f.tube for f in result.findings if f.severity == ERROR}
    sum_up = f"checked {counted(result.checked or 0, 'bend')} in {counted(len(result.tubes), 'tube')}"
    shop = "the demo shop" if result.demo_shop else one_line(result.shop.name)
    lines += [bold(line) for line in fill(f"{sum_up} against {shop}: {tally(result.findings)}", rest="  ").split("\n")]
    if bad - {None}:
        lines.append(f"{counted(len(bad - {None}), 'tube')} cannot be made as drawn.")
    return "\n".join(lines)


#: Tubes and bends listed in the overview; more are counted.
_TUBES, _BENDS = 20, 12


def tubes_to_look_at(result: Result, *, everything: bool = False) -> str:
    """A row for each tube with an error or a warning; '' when there is none, or no other tube to tell it from.

    Args:
        result: of `converter.api.check`.
        everything: list all tubes and all bends, however many.
    """
    from converter.cli.grid import Grid
    from converter.cli.main import one_line
    from converter.cli.page import faint
    from converter.cli.text import bend_marks, counted, severity_tint
    from converter.findings import ERROR, WARNING

    counts: dict[str, dict[str, int]] = {}
    for finding in result.findings:
        if finding.tube is not None and finding.severity in (ERROR, WARNING):
            of_tube = counts.setdefault(finding.tube, {ERROR: 0, WARNING: 0})
            of_tube[finding.severity] += 1
    if not counts or len(result.tubes) < 2:
        return ""
    bends: dict[str, list[int]] = {}
    for name, bend in sorted(bend_marks(result.findings)):
        bends.setdefault(name, []).append(bend)
    names = [tube.run.name for tube in result.tubes if tube.run.name in counts]
    shown = names if everything or len(names) <= _TUBES + 1 else names[:_TUBES]
    rows, tint = [], {}
    for i, name in enumerate(shown):
        errors, warnings = counts[name][ERROR], counts[name][WARNING]
        listed = bends.get(name, [])
        words = ", ".join(str(bend) for bend in (listed if everything else listed[:_BENDS]))
        if len(listed) > _BENDS and not everything:
            words += f" and {len(listed) - _BENDS} more"
        rows.append([one_line(name), str(errors or ""), str(warnings or ""), words])
        tint[i] = severity_tint(ERROR if errors else WARNING)
    text = Grid(["tube", "errors", "warnings", "at bend"], rows, "lrrl", tint=tint, tint_last=False).text()
    if len(shown) < len(names):
        text += "\n" + faint(f"  and {counted(len(names) - len(shown), 'tube')} more (--verbose shows all)")
    return text
