"""What a freezer holds, by groups of food that warm alike."""

from collections.abc import Mapping
from enum import Enum


class Group(Enum):
    """Name a group of food that warms alike; the groups of the freezer model."""

    MEAT = "meat"  # fish and poultry too
    PRODUCE = "vegetables-fruit"
    BREAD = "bread"  # and cake, dough, flour
    MEALS = "meals"  # cooked dishes, soups, milk, ice cream
    WATER = "water"  # bottles and cold packs


Contents = Mapping[Group, float]  # kg
