"""Practical storage lives of frozen foods at three temperatures: how much faster each ages when it is kept warmer.

IIR, "Recommendations for the Processing and Handling of Frozen Foods" (the practical storage lives), written down from
memory and not compared with the book; two fishes after the IIR's code of practice as printed in Timarit VFI 1967,
p. 85. The steps from -12 to -7 °C, and pork sausage, are times of high quality after Labuza and Jul, from memory and
with some digits unsure. Only their ratios are used here: how long a food keeps at -18 °C comes from the food table.
Rows of fruit in sugar are left out, no food of the table is one.
"""

from dataclasses import dataclass

STATUS = "how fast warmth ages food is from tables written down from memory, taken on the safe side"


@dataclass(frozen=True, slots=True)
class Life:
    """Hold one row.

    `at12`, `at18` and `at24` are storage lives at -12, -18 and -24 °C in one unit, None where none is known; where
    the table says "over", it is the bound. `hot` is by how much ageing grows in 10 K between -12 and -7 °C.
    """

    group: str
    name: str
    at12: float | None
    at18: float
    at24: float | None
    hot: float | None = None

    @property
    def warm(self) -> float | None:
        """Return by how much ageing grows in 10 K between -18 and -12 °C, None where it is not known."""
        return None if self.at12 is None else float((self.at18 / self.at12) ** (10 / 6))

    @property
    def cold(self) -> float:
        """Return the same between -24 and -18 °C; 1, nothing gained by cold, where it is not known."""
        return 1.0 if self.at24 is None else max(1.0, float((self.at24 / self.at18) ** (10 / 6)))


# group | row | -12 °C | -18 °C | -24 °C | growth from -12 to -7 °C; months but for pork sausage (days)
_TEXT = """
fruit|raspberries, strawberries, raw|5|24|>24|20.25
fruit|peaches, apricots, cherries, raw|4|18|>24|
juice|fruit juice concentrate||24|>24|
vegetable|asparagus green|3|12|>24|
vegetable|beans green|4|15|>24|9.82
vegetable|beans lima||18|>24|
vegetable|broccoli||15|24|
vegetable|brussels sprouts|6|15|>24|
vegetable|carrots|10|18|>24|
vegetable|cauliflower|4|12|24|22.02
vegetable|corn on the cob||12|18|
vegetable|corn cut|4|15|>24|
vegetable|mushrooms cultivated|2|8|>24|
vegetable|peas green|6|24|>24|11.11
vegetable|peppers red and green||6|12|
vegetable|potatoes French fried|9|24|>24|
vegetable|spinach chopped|4|18|>24|6.14
vegetable|onions||10|15|
vegetable|leeks blanched||18||
red_meat|beef carcass unpackaged|8|15|24|
red_meat|beef steaks and cuts|8|18|24|2.71
ground_meat|beef ground|6|10|15|
red_meat|veal carcass or cuts|6|12|15|
red_meat|lamb carcass grass fed|18|24|>24|
red_meat|lamb steaks|12|18|24|
red_meat|pork carcass or cuts|6|10|15|5.5
cured_meat|bacon sliced vacuum packed|12|12|12|
cured_meat|pork sausage|49|120||5.44
offal|liver|4|12|18|
poultry|chicken whole or parts|9|18|>24|4.69
poultry|turkey whole|8|15|>24|
poultry|duck, goose whole|6|12|18|
fish_fatty|fish fatty glazed|3|5|>9|
fish_fatty|herring gutted||2.5||
fish_lean|fish lean|4|9|>12|
fish_lean|flatfish||5||
shellfish|lobster crab shrimp in shell cooked|4|6|>12|
shellfish|shrimp cooked peeled|2|5|>9|
shellfish|clams and oysters|4|6|>9|
dairy_egg|whole egg||12|>24|
dairy_egg|butter lactic unsalted|15|18|20|
dairy_egg|butter lactic salted|8|12|14|
dairy_egg|cream||12|15|
ice_cream|ice cream|1|6|24|
bread|bread||3||
baked|cakes||15|24|
dough|raw dough||12|18|
"""


def _number(cell: str) -> float | None:
    return float(cell.removeprefix(">")) if cell else None


def _life(line: str) -> Life:
    group, name, at12, at18, at24, hot = line.split("|")
    return Life(group, name, _number(at12), float(at18), _number(at24), _number(hot))


LIVES = tuple(_life(line) for line in _TEXT.split("\n") if line)
