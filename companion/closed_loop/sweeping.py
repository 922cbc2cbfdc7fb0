"""The fixed sweep in the reasoner's place: the same belief, the trade's order of tests."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import lru_cache

from companion.counsel import Complaint, Evidence
from companion.diagnosis.advisor import Advisor
from companion.diagnosis.choosers import by_fixed_order
from companion.diagnosis.stopping import verdict
from companion.equipment import Equipment


class Sweeping(Advisor):
    """Counsel that asks for each test in the battery's order, until enough is known."""

    def next(self, heard: Sequence[Evidence], allowed: Collection[str]) -> str | None:
        """The next test in order; None when enough is known or none is left."""
        case = self.case(heard)
        name = by_fixed_order(case, [n for n in self.cards() if n in set(allowed)])
        return None if name is None or verdict(case, name).enough else name

    @staticmethod
    @lru_cache(maxsize=8)
    def counsel(
        equipment: Equipment, complaint: Complaint, history: tuple[str, ...]
    ) -> Sweeping:  # fmt: skip
        """The sweep for an installation; kept, since it depends on nothing else."""
        return Sweeping(equipment, complaint, history)
