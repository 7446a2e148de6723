"""Read an advertisement by the keeper's own rule, for a device whose format is not open."""

from gatewayd.model.format import ByteRule
from gatewayd.model.reading import Decoded, Undecodable, Value

TOO_SHORT = Undecodable("the advertisement is shorter than the rule for its bytes allows")
NOT_KNOWN = Undecodable("the sensor says that it knows no value")
OUTSIDE = Undecodable("the value is outside the range that the rule for its bytes gives")
# A factor of 0.01 is not exact in binary, and 2506 * 0.01 would show as 25.060000000000002. Nine decimals keep the
# finest step in use (1/256) whole and hide that.
DECIMALS = 9


def decode(rule: ByteRule, payload: bytes) -> Decoded | Undecodable:
    """Read one value; `payload` is the element's data without its UUID or company id."""
    end = rule.offset + rule.width
    if len(payload) < rule.least or len(payload) < end:
        return TOO_SHORT
    data = payload[rule.offset : end]
    if rule.order == "little":
        raw = int.from_bytes(data, "little", signed=rule.signed)
    else:
        raw = int.from_bytes(data, "big", signed=rule.signed)
    if raw in rule.unknown:
        return NOT_KNOWN
    value = round(raw * rule.factor + rule.addend, DECIMALS)
    # Written so that a value which is no number fails too; the second half holds when the rule's range is endless.
    if not rule.lowest <= value <= rule.highest or value - value != 0.0:
        return OUTSIDE
    return Decoded((Value(rule.quantity, value),))
