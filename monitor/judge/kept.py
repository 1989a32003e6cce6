"""What the judge keeps of a cohort between looks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from monitor.judge.looks import Course
from monitor.judge.strain import HeatPrior
from monitor.values import AlarmKind, Condition, Facts, Reason, Urgency

#: What is said of a cohort that should not wait for the morning.
_TODAY = (Reason.LOT_HOT, Reason.LOT_UNEVEN)


@dataclass
class KeptCohort:
    """The course so far, the grid `points` worth a look and when they were searched for [h], its
    bags and strain, and what is `said` of the whole of it: a reason's value, or nothing."""

    course: Course
    points: list[int] = field(default_factory=list)
    searched_h: float = 0.0
    members: list[str] = field(default_factory=list)
    strain: str = ""
    said: str = ""

    @staticmethod
    def begun(prior: HeatPrior) -> KeptCohort:
        """A cohort not looked at yet: it runs as its strain does."""
        return KeptCohort(Course(prior.peak_k, prior.peak_h, prior.rise_h))

    def finding(self, cohort: str) -> Condition | None:
        """What stands about the whole cohort, if anything does."""
        if not self.said:
            return None
        return Condition(
            AlarmKind.LOT_APART,
            cohort,
            Urgency.TODAY if self.said in _TODAY else Urgency.LATER,
            Reason(self.said),
            Facts(cohort=cohort, strain=self.strain, affected=len(self.members)),
        )

    def plain(self) -> dict[str, Any]:
        """As data."""
        return {
            "course": [self.course.peak_k, self.course.peak_h, self.course.rise_h],
            "points": list(self.points),
            "searched_h": self.searched_h,
            "members": list(self.members),
            "strain": self.strain,
            "said": self.said,
        }

    @staticmethod
    def from_plain(data: Mapping[str, Any]) -> KeptCohort:
        """From what `plain` gave."""
        return KeptCohort(**{**data, "course": Course(*data["course"])})
