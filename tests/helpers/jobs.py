"""Jobs of tubes made up in tests, and how they are written."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from converter.exporters.options import WriteOptions
from converter.exporters.registry import write
from converter.job import Job
from converter.model.run import Tube
from converter.settings import Settings
from converter.shop.model import Shop
from converter.units import Display

#: A shop that owns nothing: no die, so no clamp and no extra stick; no machine, so no limits.
BARE_SHOP = Shop("no shop", (), source=__file__)


def job_of(
    tubes: Sequence[Tube],
    source: str = "part.dxf",
    *,
    display: Display | None = None,
    shop: Shop = BARE_SHOP,
    settings: Settings | None = None,
    **more: Any,
) -> Job:
    """A job of tubes, shown as ``display``; ``more`` as of `Job.of_tubes`, ``gap`` and ``feed_from`` of `Settings`."""
    shown = display or Display()
    chosen = {name: more.pop(name) for name in ("gap", "feed_from", "coped") if name in more}
    settings = settings or Settings(unit=shown.unit, denominator=shown.denominator, **chosen)
    return Job.of_tubes(tubes, shop, source=source, settings=settings, **more)


def write_job(job: Job, folder: Path, formats: Sequence[str], *, force: bool = False, **options: Any) -> list[Path]:
    """Write one job; ``options`` as of `WriteOptions`."""
    return write([job], folder, formats, WriteOptions(**options), force=force)
