"""What `strains.yaml` amounts to: every strain with what it inherited."""

from __future__ import annotations

from dataclasses import replace

from pydantic import Field

from monitor.judge.strain import Strain
from monitor.settings.model import Model


class StrainBook(Model):
    """The strains by name; one nobody wrote down gets the generic values and `known` False."""

    generic: Strain = Field(default_factory=Strain, description="Values for any strain.")
    strains: dict[str, Strain] = Field(default_factory=dict, description="Strains by name.")
    bands_c: dict[str, tuple[float, float]] = Field(
        default_factory=dict, description="Room band a strain likes, where its group says so."
    )
    parents: dict[str, tuple[str, ...]] = Field(
        default_factory=dict, description="What a hybrid comes from."
    )

    def lookup(self, name: str) -> Strain:
        """The strain of that name, or the generic one under that name."""
        found = self.strains.get(name)
        return found if found is not None else replace(self.generic, name=name, known=False)
