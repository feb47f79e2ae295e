"""What every trade's sheets have, whatever else its own hold: a job, a model, and the maker's manual."""

from __future__ import annotations

from datetime import date
from typing import Protocol


class JobSheet(Protocol):
    """The facts of one job."""

    @property
    def calibrated_until(self) -> date | None:
        """The last day on which every instrument is in date; None where no instrument is named."""


class ApplianceSheet(Protocol):
    """The maker's data for one model."""

    @property
    def wait_after_change_seconds(self) -> int | None:
        """How long the maker wants readings to wait after a change."""

    def source(self, page: int) -> str:
        """Return the source of a figure: file, page and revision."""


class Sheets(Protocol):
    """Both sheets of a visit."""

    @property
    def job(self) -> JobSheet:
        """The job."""

    @property
    def appliance(self) -> ApplianceSheet:
        """The maker's data."""
