"""Each named point that must be served: by which judged spots, and what it costs where the first does not serve it."""

from __future__ import annotations

from dataclasses import dataclass

from siteplanner.planning.choose.options import Field
from siteplanner.planning.choose.price import Price, price
from siteplanner.planning.choose.ranked import RankedSpot


@dataclass(frozen=True, eq=False)
class PointAnswer:
    """A named point. `needed`: the chance from which on it is served; `first`: at the first spot; `served_by`: judged
    spots that serve it, `best` the best-scoring of them with its chance and what it gives and costs against the first.
    None: none of the judged spots does.
    """

    name: str
    required: bool
    needed: float
    first: float
    served_by: int
    best: RankedSpot | None
    chance: float
    price: Price | None

    @property
    def missed(self) -> bool:
        """Whether the first spot does not serve it."""
        return not self.first >= self.needed


def point_answers(field: Field, required: tuple[bool, ...]) -> tuple[PointAnswer, ...]:
    """One for each point of the layer, in its order; () where nothing is judged."""
    first = field.judged[0].evaluation.coverage if field.judged else None
    out = []
    for k, point in enumerate(() if first is None else first.must_serve):
        rows = [row for row in range(len(field.judged)) if k in field.serves(row)]
        best = field.judged[rows[0]] if rows else None
        held = None if best is None else best.evaluation.coverage
        out.append(
            PointAnswer(
                point.name,
                required[k],
                field.needed[k],
                point.probability,
                len(rows),
                best,
                0.0 if held is None else held.must_serve[k].probability,
                price(field.figures, rows[0]) if rows and rows[0] else None,
            )
        )
    return tuple(out)
