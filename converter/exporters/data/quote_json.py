"""A quotation as JSON: ``elbowroom/quote/1`` (docs/quote.md)."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from converter.exporters.data.table_json import finding_value, with_parts
from converter.job import Job
from converter.job.quotation import Quotation

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
