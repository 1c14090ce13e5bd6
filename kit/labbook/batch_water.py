"""Water that left the batch: what the balance saw, held against what an open hot vessel would lose."""

from __future__ import annotations

from kit.bench.water_loss_check import WaterLoss
from kit.labbook.batch_record import BatchRecord
from kit.labbook.water_record import water_loss_of


class WaterLosses(BatchRecord):
    """The call that asks whether the missing water is accounted for."""

    def water_loss(self) -> WaterLoss:
        """The water missing at the weighings of the vessel, explained by evaporation or not; the estimate is ± 50 %."""
        return water_loss_of(self.view)

    def _water_notes(self) -> list[str]:
        """What evaporation would account for, while there is time to weigh back."""
        loss = self.water_loss()
        return [loss.words] if loss.estimate is not None else []
