"""What saving the pieces is worth, by the user's own figures alone, and where sawing stops paying.

m², m³, and money in whatever currency the figures are in. No price nor rate is ours."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from blockfit.errors import BadValueError
from blockfit.facts.measures import Measure, Sure, fact
from blockfit.facts.results import Result
from blockfit.kinds import kinds_checked
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.offcuts.prices import Prices

__all__ = ["PieceWorth", "Worth", "worth"]


@dataclass(frozen=True, slots=True, repr=False)
class PieceWorth(Result):
    """What one piece brings and costs, and the net of the plan if one stops after it.

    All in the money of the prices and rates that you gave: an estimate that is as good as they are.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> plan = bf.offcuts(fit, kerf=10, reserve=0, most_pieces=1, most_cuts=1)
    >>> earned = bf.worth(plan, price_m3=900, sawing_m2=60, rate_hour=45, hours_piece=0.5)
    >>> piece = earned.pieces[0]
    >>> piece.number, round(piece.work, 2), piece.net == piece.stone - piece.sawing - piece.work
    (1, 22.5, True)
    """

    number: int = field(metadata=fact("piece", measure=Measure.COUNT))
    stone: float = field(metadata=fact("stone brings", Sure.ESTIMATE, measure=Measure.PLAIN))
    sawing: float = field(metadata=fact("sawing costs", Sure.ESTIMATE, measure=Measure.PLAIN))
    work: float = field(metadata=fact("work costs", Sure.ESTIMATE, measure=Measure.PLAIN))
    net_so_far: float = field(metadata=fact("net so far", Sure.ESTIMATE, measure=Measure.PLAIN))

    @property
    def net(self) -> float:
        """What the piece brings less what it costs."""
        return self.stone - self.sawing - self.work


@dataclass(frozen=True, slots=True, repr=False)
class Worth(Result):
    """The worth of a plan by piece; ``stop_after`` so many pieces the net is greatest, ``best`` of it.

    All in the money of the prices and rates that you gave: an estimate that is as good as they are.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> plan = bf.offcuts(fit, kerf=10, reserve=0, most_pieces=1, most_cuts=1)
    >>> earned = bf.worth(plan, price_m3=900, sawing_m2=60, rate_hour=45, hours_piece=0.5)
    >>> earned.stop_after, earned.best == earned.net, earned.best > 0
    (1, True, True)
    """

    pieces: tuple[PieceWorth, ...] = field(metadata=fact("pieces", Sure.ESTIMATE))
    stop_after: int = field(metadata=fact("stop after", Sure.ESTIMATE, measure=Measure.COUNT))
    best: float = field(metadata=fact("net then", Sure.ESTIMATE, measure=Measure.PLAIN))

    @property
    def net(self) -> float:
        """The net of the whole plan."""
        return self.pieces[-1].net_so_far if self.pieces else 0.0


@kinds_checked
def worth(
    plan: OffcutPlan,
    *,
    price_m3: float | Sequence[tuple[float, float]] | None = None,
    sawing_m2: float = 0.0,
    rate_hour: float = 0.0,
    hours_piece: float = 0.0,
    hours_m2: float = 0.0,
) -> Worth:
    """Return what each piece is worth and what it costs, in the order of the plan.

    The prices and rates are those of `Prices`; without any, the ones that the plan was made by.

    An estimate, as good as your own prices and rates. Raises `BadValueError` for prices and rates that are no numbers
    of 0 or more, and where there is no price.

    >>> import blockfit as bf
    >>> from blockfit.waste.rescued.worth import worth
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), scale=1, stance=bf.Stance.fixed())
    >>> plan = bf.offcuts(fit, kerf=10, reserve=0, most_pieces=1)
    >>> told = worth(plan, price_m3=[(0.05, 400), (0.5, 900)], sawing_m2=60, rate_hour=45, hours_piece=0.5)
    >>> told.pieces[0].stone == plan.pieces[0].volume_m3 * 400, told.stop_after
    (True, 1)
    """
    costs = {"sawing_m2": sawing_m2, "rate_hour": rate_hour, "hours_piece": hours_piece, "hours_m2": hours_m2}
    if price_m3 is not None:
        prices = Prices(price_m3, **costs)
    elif any(costs.values()) or plan.prices is None:
        raise BadValueError("worth() needs price_m3=..., what a cubic metre of saved stone is worth to you")
    else:
        prices = plan.prices
    told: list[PieceWorth] = []
    net = 0.0
    for number, piece in enumerate(plan.pieces, 1):
        sawn = sum(cut.area_m2 for cut in piece.cuts)
        stone, (sawing, work) = prices.brings(piece.volume_m3), prices.costs(sawn)
        net += stone - sawing - work
        told.append(PieceWorth(number, stone, sawing, work, net))
    stop = max(range(len(told) + 1), key=lambda k: (told[k - 1].net_so_far if k else 0.0, -k))
    return Worth(tuple(told), stop, told[stop - 1].net_so_far if stop else 0.0)
