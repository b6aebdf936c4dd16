"""Several ideas of one figure over one yard: which block each needs, and what the others cost more. From rows alone."""

from collections.abc import Sequence
from dataclasses import dataclass

from blockfit.facts.systems import UnitSystem, units_of
from blockfit.kinds import kinds_checked
from blockfit.sheets.yard.ranking import Comparison
from blockfit.sheets.yard.rows import Row

__all__ = ["Concept", "Concepts", "concepts"]


@dataclass(frozen=True, slots=True, eq=False)
class Concept:
    """One figure and the block that suits it best by the table's rank; ``row`` is ``None`` where none holds it.

    ``more_price``, ``more_block_kg`` and ``more_removed_kg`` are what it asks more than the concept that asks least,
    ``None`` where it is not known.

    ``blocks`` is how many hold it. Prices are those of the yard; weights are kg, estimates at the typical density.

    >>> from dataclasses import replace
    >>> import blockfit as bf
    >>> raised = bf.Figure.from_points([[0, 0, 0], [300, 0, 0], [0, 300, 0], [0, 0, 900]])
    >>> folded = bf.Figure.from_points([[0, 0, 0], [300, 0, 0], [0, 300, 0], [0, 0, 600]])
    >>> ideas = [replace(raised, name="arm raised"), replace(folded, name="arm folded")]
    >>> yard = [bf.Block.box(400, 400, h, name=f"B{h}", price=h) for h in (700, 1000)]
    >>> found = bf.concepts(bf.compare(ideas, yard, scale=1, rank="cheapest", stance=bf.Stance.fixed(), jobs=1))
    >>> [(one.figure, one.row.block.name, one.blocks, one.more_price) for one in found.each]
    [('arm raised', 'B1000', 1, 300), ('arm folded', 'B700', 2, 0)]
    """

    figure: str
    row: Row | None
    blocks: int
    more_price: float | None = None
    more_block_kg: float | None = None
    more_removed_kg: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Concepts:
    """What each figure of a table needs, in ``each``; ``print`` it, or ask for its `text` in ``"us"`` units.

    As sure as the rows that it was made from; ``each`` is in the order in which the figures were given.

    >>> from dataclasses import replace
    >>> import blockfit as bf
    >>> raised = bf.Figure.from_points([[0, 0, 0], [300, 0, 0], [0, 300, 0], [0, 0, 900]])
    >>> folded = bf.Figure.from_points([[0, 0, 0], [300, 0, 0], [0, 300, 0], [0, 0, 600]])
    >>> ideas = [replace(raised, name="arm raised"), replace(folded, name="arm folded")]
    >>> yard = [bf.Block.box(400, 400, h, name=f"B{h}", price=h) for h in (700, 1000)]
    >>> found = bf.concepts(bf.compare(ideas, yard, scale=1, rank="cheapest", stance=bf.Stance.fixed(), jobs=1))
    >>> [one.figure for one in found.each], found.rank
    (['arm raised', 'arm folded'], 'cheapest')
    """

    each: tuple[Concept, ...]
    rank: str

    def __str__(self) -> str:
        """Return a line for each figure, in metric units."""
        return self.text()

    @kinds_checked
    def text(self, units: str = "metric") -> str:
        """Return a line for each figure, in ``"metric"`` or ``"us"`` units."""
        shown = units_of(units)
        lines = [f"  {one.figure}: {_words(one, shown)}" for one in self.each]
        return "\n".join([f"what each figure needs, its best block by {self.rank}:", *lines]) + "\n"


@kinds_checked
def concepts(table: Comparison) -> Concepts:
    """Return what each of a table's figures needs of the yard, told apart by their names, in the order given.

    A figure's best block is the first of its rows that fits. Compare with ``offcuts=True`` to see what is saved whole.

    >>> import blockfit as bf
    >>> raised = bf.Figure.from_points([[0, 0, 0], [300, 0, 0], [0, 300, 0], [0, 0, 900]])
    >>> folded = bf.Figure.from_points([[0, 0, 0], [300, 0, 0], [0, 300, 0], [0, 0, 600]])
    >>> from dataclasses import replace
    >>> ideas = [replace(raised, name="arm raised"), replace(folded, name="arm folded")]
    >>> yard = [bf.Block.box(400, 400, h, name=f"B{h}", price=h) for h in (700, 1000)]
    >>> print(bf.concepts(bf.compare(ideas, yard, scale=1, rank="cheapest", stance=bf.Stance.fixed(), jobs=1)))
    what each figure needs, its best block by cheapest:
      arm raised: B1000; price 1,000, 300 more than the cheapest of these
      arm folded: B700 (of 2 that hold it); price 700
    <BLANKLINE>
    """
    return Concepts(_concepts_of(table.rows), table.rank)


def _concepts_of(rows: Sequence[Row]) -> tuple[Concept, ...]:
    names = list(dict.fromkeys(row.figure for row in sorted(rows, key=lambda row: row.order)))
    fitting = {name: [row for row in rows if row.figure == name and row.verdict == "FITS"] for name in names}
    best = [found[0] for found in fitting.values() if found]

    def more(value: float | None, others: list[float | None]) -> float | None:
        known = [other for other in others if other is not None]
        return None if value is None or not known else value - min(known)

    return tuple(
        Concept(
            figure=name,
            row=found[0] if found else None,
            blocks=len(found),
            more_price=more(found[0].price, [row.price for row in best]) if found else None,
            more_block_kg=more(found[0].block_kg, [row.block_kg for row in best]) if found else None,
            more_removed_kg=more(found[0].removed_kg, [row.removed_kg for row in best]) if found else None,
        )
        for name, found in fitting.items()
    )


def _words(one: Concept, units: UnitSystem) -> str:
    row = one.row
    if row is None:
        return "no block of this yard is known to hold it"
    others = "" if one.blocks == 1 else f" (of {one.blocks} that hold it)"
    told = [f"{row.block.name}{others}"]
    if row.price is not None:
        more = "" if not one.more_price else f", {one.more_price:,.0f} more than the cheapest of these"
        told.append(f"price {row.price:,.0f}{more}")
    if row.removed_kg is not None:
        more = "" if not one.more_removed_kg else f", {units.mass(one.more_removed_kg)} more than the least"
        told.append(f"{units.mass(row.removed_kg)} to take off{more}")
    if row.recovered is not None:
        told.append(f"{row.recovered:.0%} of the waste saved whole")
    return "; ".join(told)
