"""``elbowroom audit``: findings against the shop file; the exit status tells."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from converter.cli import options
from converter.cli.console import Console

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
@options.as_json
@options.talking
def audit(sources: tuple[str, ...], **given: Any) -> int:
    """Check every bend of every INPUT against the shop's dies and machines.

    Each finding names the tube and the bend, what was measured, the limit, and what would cure
    it. Exit status 0: it can be bent; 1: an error would scrap a stick; 2: a file could not be read.
    """
    console = options.console_from(given)
    settings = options.settings_from(given)

    from converter.api import check, load
    from converter.findings import has_errors
    from converter.pause import let_go
    from converter.progress import steps

    results = []
    with console.progress(f"checking {sources[0]}" if len(sources) == 1 else "checking"):
        for source in steps(sources, "files"):
            results.append(check(load(source, settings)))
            let_go(len(sources))
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
    """What was checked, every finding, and the sum of it in one line."""
    from converter.cli.tables import heading
    from converter.cli.text import bold, counted, findings_text, ignored_text, tally
    from converter.findings import ERROR

    lines = [heading(result)]
    if result.findings:
        lines += ["", findings_text(result.findings, everything=console.verbose), ""]
    left_out = ignored_text(result.drawing.ignored)
    if left_out:
        lines += [left_out, ""]
    bad = {f.tube for f in result.findings if f.severity == ERROR}
    sum_up = f"checked {counted(result.checked or 0, 'bend')} in {counted(len(result.tubes), 'tube')}"
    shop = "the demo shop" if result.demo_shop else result.shop.name
    lines.append(bold(f"{sum_up} against {shop}: {tally(result.findings)}"))
    if bad - {None}:
        lines.append(f"{counted(len(bad - {None}), 'tube')} cannot be made as drawn.")
    return "\n".join(lines)
