"""The maker's plan: all that is to be prepared, in which order it is made, and what it costs."""

from dataclasses import dataclass

from chaingen.make.classroom import ClassOrder
from chaingen.make.forming import MandrelPlan
from chaingen.make.money import Money
from chaingen.make.order.steps import Order
from chaingen.make.owned import OwnedChoice
from chaingen.make.strength import Strength
from chaingen.make.wire_plan import RingPlan, WireOrder
from chaingen.solve.choices import LengthChoice


@dataclass(frozen=True, slots=True)
class Plan:
    """The maker's plan.

    Attributes:
        rings: Rings, wire, coils and bags by size and metal.
        mandrels: What to wind them on.
        money: Cost, time, price.
        strength: The pull that the piece holds.
        lengths: The next shorter piece, this one, and the next longer; none where length does not go by
            repeats.
        owned: Ways to make it of rings at hand, best first; none where none are named.
        classroom: What a class takes; None without a class.
        order: The order of work; of one piece, where a pair is made; None where it does not fit.
        class_money: What the material of a class's order costs; None without a class.
        wire: Wire to buy for the rings, by metal and diameter.
        class_wire: The same for a class's order; none without a class.
    """

    rings: tuple[RingPlan, ...]
    mandrels: tuple[MandrelPlan, ...]
    money: Money
    strength: Strength
    lengths: tuple[LengthChoice, ...]
    owned: tuple[OwnedChoice, ...]
    classroom: ClassOrder | None
    order: Order | None
    class_money: Money | None = None
    wire: tuple[WireOrder, ...] = ()
    class_wire: tuple[WireOrder, ...] = ()
