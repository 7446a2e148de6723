"""What waits for the store, in order; while the store cannot write it is packed small and kept within bounds.

Events, messages and answers are never left out. Rows of readings are, beyond ROWS_MOST, and the oldest first: of each
two rows of a sensor the warmer one stays, so that what is left errs to safety.
"""

from collections.abc import Iterable, Iterator

from gatewayd.model.delivery import Delivery
from gatewayd.model.effect import Restamp
from gatewayd.model.moment import Moment
from gatewayd.model.reading import Quantity, Reading
from gatewayd.store.batch import Batch

# At one row a minute each, five sensors with temperature and humidity fill this in 33 h; a row takes 300 bytes
# (measured with tracemalloc), so this is 6 MB.
ROWS_MOST = 20_000
# What is tried first after a failure is small, so that a full disk is not written full again at every try; and a
# thousand rows take some ms to write, so that no alarm waits behind a day of rows.
ROWS_AT_ONCE = 1_000


class Waiting:
    """Hold batches and re-stampings in the order in which they must be stored; the last batch is open."""

    def __init__(self, now: Moment) -> None:
        """Begin with an empty batch."""
        self._work: list[Batch | Restamp] = [Batch(now)]
        self.thinned = 0  # rows left out since this was last set to 0

    def open(self, now: Moment) -> Batch:
        """Return the batch that takes what comes."""
        last = self._work[-1]
        if isinstance(last, Restamp):
            last = Batch(now)
            self._work.append(last)
        return last

    def shift(self, restamp: Restamp) -> None:
        """Put a re-stamping behind what was stamped before it."""
        self._work.append(restamp)

    def close(self, now: Moment) -> None:
        """Begin a new batch: the last one is about to be written."""
        self._work.append(Batch(now))

    @property
    def first(self) -> Batch | Restamp | None:
        """Return what is to be stored next, None if that is only the open batch."""
        return self._work[0] if len(self._work) > 1 else None

    def done(self, what: Batch | Restamp) -> None:
        """Take away what was stored."""
        self._work = [work for work in self._work if work is not what]

    def put_first(self, batch: Batch) -> None:
        """Put something before all that waits."""
        self._work.insert(0, batch)

    def batches(self) -> Iterator[Batch]:
        """Yield every batch that waits."""
        return (work for work in self._work if isinstance(work, Batch))

    def deliveries(self) -> list[Delivery]:
        """Return every delivery that waits."""
        return [delivery for batch in self.batches() for delivery in batch.deliveries]

    def answer(self, key: str) -> str | None:
        """Return the answer of an order that waits to be written down."""
        return next((text for batch in self.batches() for its, text in batch.answers if its == key), None)

    def rows(self) -> int:
        """Return how many readings wait."""
        return sum(len(batch.readings) for batch in self.batches())

    def empty(self) -> bool:
        """Return whether nothing waits but the note that we are awake."""
        return not any(
            b.readings or b.events or b.deliveries or b.decisions or b.answers or b.dropped for b in self.batches()
        )

    def pack(self, now: Moment) -> None:
        """Pack what waits: between two re-stampings one small batch and then the rows; leave out rows beyond bounds."""
        packed: list[Batch | Restamp] = []
        between: list[Batch] = []
        for work in self._work:
            if isinstance(work, Batch):
                between.append(work)
            else:
                packed += [*_pack(between), work]
                between = []
        self._work = [*packed, *_pack(between), Batch(now)]
        self._thin()

    def _thin(self) -> None:
        """Halve the oldest half of the rows, until all fit."""
        while (rows := self.rows()) > ROWS_MOST:
            old = 0
            for batch in self.batches():
                if old >= rows // 2:
                    break
                old += len(batch.readings)
                batch.readings = thin(batch.readings)
            gone = rows - self.rows()
            self.thinned += gone
            if not gone:  # each row of another sensor: nothing to choose between
                batch = next(batch for batch in self.batches() if batch.readings)
                self.thinned += len(batch.readings)
                batch.readings = []


def _pack(batches: list[Batch]) -> list[Batch]:
    """Join batches into heads with everything but the rows, and chunks of rows behind them."""
    heads: list[Batch] = []
    rows: list[Reading] = []
    for batch in batches:
        if batch.stored is not None:  # it is safe, only the answer was lost
            continue
        head = heads[-1] if heads else None
        if head is None or (batch.settings and head.settings and batch.settings != head.settings):
            head = Batch(batch.alive)
            heads.append(head)
        rows += batch.readings
        head.alive = batch.alive
        head.events += batch.events
        head.deliveries += batch.deliveries
        head.decisions += batch.decisions
        head.chores += batch.chores
        head.snapshot = batch.snapshot or head.snapshot
        head.settings = batch.settings or head.settings
        head.answers += batch.answers
        head.calibrations += batch.calibrations
        head.dropped += batch.dropped
        head.counters.update(batch.counters)
    chunks = [rows[at : at + ROWS_AT_ONCE] for at in range(0, len(rows), ROWS_AT_ONCE)]
    return heads + [Batch(heads[-1].alive, readings=chunk) for chunk in chunks]


def thin(rows: Iterable[Reading]) -> list[Reading]:
    """Return, of each two rows of a sensor and quantity that follow each other, the warmer one, a good one first."""
    kept: list[Reading] = []
    single: dict[tuple[str, Quantity], int] = {}  # the place in `kept` of a row that has no partner yet
    for row in rows:
        key = (row.sensor, row.quantity)
        place = single.pop(key, None)
        if place is None:
            single[key] = len(kept)
            kept.append(row)
        elif (row.good, row.value) > (kept[place].good, kept[place].value):
            kept[place] = row
    return kept
