"""Say which work can be done for what, and what it is called."""

from gatewayd.model.chore import Kind
from gatewayd.model.house import House

OF_FREEZERS = (Kind.DEFROSTED, Kind.GASKET, Kind.CONDENSER)
WORDS = {
    Kind.DEFROSTED: "defrosted",
    Kind.BATTERY: "battery changed",
    Kind.GASKET: "gasket looked at",
    Kind.CONDENSER: "coils looked at",
    Kind.ICE_POINT: "checked in ice",
    Kind.SPARE: "spare sensor",
    Kind.NOTE: "note",
}


def fits(house: House, subject: str, kind: str) -> tuple[str, Kind | None]:
    """Return the kind of work that is meant, or what is wrong with it and None."""
    wished = next((each for each in Kind if each.value == kind), None)
    if wished is Kind.ICE_POINT:
        return f"A check in ice is guided, and writes itself down. Begin with: gatewayd calibrate {subject}", None
    if wished is None:
        known = ", ".join(each.value for each in Kind if each is not Kind.ICE_POINT)
        return f"There is no work {kind!r}; there are: {known}.", None
    if wished in OF_FREEZERS:
        what, those = "freezer", list(house.freezers)
    elif wished is Kind.BATTERY:
        what, those = "sensor", list(house.sensors)
    else:
        what, those = "freezer or sensor", [*house.freezers, *house.sensors, house.id]
    if subject not in those:
        return f"There is no {what} {subject!r}; there are: {', '.join(those) or 'none'}.", None
    return "", wished
