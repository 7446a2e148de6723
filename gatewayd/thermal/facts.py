"""What the owner says of a freezer, which the model begins from."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from gatewayd.model.contents import Group
from gatewayd.model.house import Kind


@dataclass(frozen=True, slots=True)
class Facts:
    """Hold kind, net volume (litres), contents (kg by group) and room temperature (°C).

    `told` says that the owner gave the contents; else they are a guess of a half-full freezer. `metered` says that a
    sensor stands in the room.
    """

    kind: Kind = Kind.CHEST
    volume: float = 300.0
    kg: Mapping[Group, float] = field(default_factory=dict)
    room: float = 20.0
    told: bool = True

    def __post_init__(self) -> None:
        """Refuse what no household freezer is."""
        if not 20 <= self.volume <= 2000:
            raise ValueError(f"a volume of {self.volume:g} L; allowed are 20 to 2000 L")
        if not -30 <= self.room <= 60:
            raise ValueError(f"a room of {self.room:g} °C; allowed are -30 to 60 °C")
        for group, weight in self.kg.items():
            if not 0 <= weight <= 2000:
                raise ValueError(f"{weight:g} kg of {group.value}; allowed are 0 to 2000 kg")

    @property
    def weight(self) -> float:
        """Return the weight of all food (kg)."""
        return sum(self.kg.values())
