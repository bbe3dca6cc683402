"""A quotation as JSON, ``elbowroom/quote/1``, and as CSV (RFC 4180), a row per part: docs/quote.md."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from converter.exporters.data.table_csv import csv_text, length_cells, length_heads, number_cell, text_cell
from converter.exporters.data.table_json import finding_value, with_parts
from converter.exporters.files import OutputSet
from converter.exporters.options import WriteOptions
from converter.job import Job
from converter.job.quotation import Quotation, quotation
from converter.units import KG_PER_LB, Display

#: What is summed over a job.
TOTALS = ("stick", "mass", "bends", "cuts", "copes", "weld", "minutes", "metal_price", "work_price", "price")


def quotation_document(job: Job, quotation: Quotation) -> dict[str, Any]:
    """The document; lengths mm, masses kg, prices in the shop's currency.

    Args:
        job: the job.
        quotation: what it comes to.
    """
    document: dict[str, Any] = {
        "schema": "elbowroom/quote/1",
        "source": job.source,
        "shop": job.shop.name,
        "demo_shop": quotation.invented,
        "estimate": True,
        "jobs": quotation.jobs,
        "currency": quotation.currency,
        "tubes": [{**asdict(line), "price": line.price} for line in quotation.lines],
        "total": {what: quotation.total(what) for what in TOTALS},
        "unrated": list(quotation.unrated),
        "unpriced": [line.tube for line in quotation.lines if line.metal_price is None],
        "findings": [finding_value(finding, job.display) for finding in quotation.findings],
    }
    document = with_parts(document, [part.part for part in quotation.parts], "tube")
    for value, part in zip(document["parts"], quotation.parts, strict=True):
        whole = {what: part.whole(what) for what in TOTALS}
        value["each"] = {what: part.each(what) for what in TOTALS}
        value["total"] = {what: None if one is None else quotation.jobs * one for what, one in whole.items()}
    return document


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-quote.csv``."""
    text = quotation_csv(quotation(job), job.display)
    out.path(f"{options.stem}-quote.csv").write_text(text, encoding="utf-8", newline="")


def quotation_csv(estimate: Quotation, display: Display) -> str:
    """A row per part, for one piece of it, with CRLF line ends; a cell is empty where the shop file says not enough.

    Args:
        estimate: of a job; how often it is made stands in the column ``jobs``.
        display: unit of the lengths; masses are lb beside inches, else kg.
    """
    mass, per_mass = ("lb", KG_PER_LB) if display.unit == "in" else ("kg", 1.0)
    heads = [
        "part", "quantity", "jobs", *length_heads("stick", display), f"mass_{mass}", "bends", "saw_cuts", "copes",
        *length_heads("weld", display), "minutes", "metal_price", "work_price", "price", "currency",
        "total_minutes", "total_price", "names",
    ]  # fmt: skip
    rows = [
        [
            text_cell(part.part.name),
            str(part.off),
            str(estimate.jobs),
            *length_cells(part.each("stick"), display),
            _cell(part.each("mass"), 6, per_mass),
            *(f"{part.each(what):.0f}" for what in ("bends", "cuts", "copes")),
            *length_cells(part.each("weld"), display),
            *(_cell(part.each(what), 4) for what in ("minutes", "metal_price", "work_price", "price")),
            text_cell(estimate.currency),
            *(_cell(part.whole(what), 4, 1.0 / estimate.jobs) for what in ("minutes", "price")),
            text_cell(", ".join(part.part.names)),
        ]
        for part in estimate.parts
    ]
    return csv_text(heads, rows)


def _cell(value: float | None, decimals: int, per: float = 1.0) -> str:
    return "" if value is None else number_cell(value / per, decimals)
