"""Who belongs to whom: pairs of least total cost, where being alone has a price too.

Source: H. W. Kuhn, "The Hungarian method for the assignment problem", Naval Research Logistics
Quarterly 2 (1955), doi:10.1002/nav.3800020109, by shortest augmenting paths (J. Munkres, 1957).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

CostArray = npt.NDArray[np.float64]


def assign(cost: CostArray, alone: float) -> list[tuple[int, int]]:
    """Return the pairs (row, column) of least total cost.

    Parameters
    ----------
    cost : (N, M); infinite where a pair cannot be.
    alone : what it costs to leave a row and a column without a partner; dearer pairs are never
        made.
    """
    possible = cost < alone
    rows, columns = np.nonzero(possible.any(axis=1))[0], np.nonzero(possible.any(axis=0))[0]
    pairs = []
    for some_rows, some_columns in _islands(possible, rows, columns):
        part = np.minimum(cost[np.ix_(some_rows, some_columns)], 2 * alone)
        # each row has a place of its own to be alone in
        padded = np.concatenate([part, np.full((len(part), len(part)), alone)], axis=1)
        for row, column in enumerate(_hungarian(padded)):
            if column < len(some_columns) and part[row, column] < alone:
                pairs.append((int(some_rows[row]), int(some_columns[column])))
    return sorted(pairs)


def _islands(
    possible: npt.NDArray[np.bool_], rows: npt.NDArray[np.intp], columns: npt.NDArray[np.intp]
) -> list[tuple[list[int], list[int]]]:
    """Return groups of rows and columns that have no possible pair with those of other groups."""
    islands, seen = [], set()
    for first in rows.tolist():
        if first in seen:
            continue
        some_rows, some_columns, waiting = {first}, set[int](), [first]
        while waiting:
            for column in np.flatnonzero(possible[waiting.pop()]).tolist():
                if column not in some_columns:
                    some_columns.add(column)
                    new = set(np.flatnonzero(possible[:, column]).tolist()) - some_rows
                    some_rows |= new
                    waiting += sorted(new)
        seen |= some_rows
        islands.append((sorted(some_rows), sorted(some_columns)))
    return islands


def _hungarian(cost: CostArray) -> list[int]:
    """Return the column of each row at least total cost; there are no fewer columns than rows."""
    count, width = cost.shape
    # row and column 0 stand for nobody; ``of_column`` is the row that has a column
    row_price, column_price = np.zeros(count + 1), np.zeros(width + 1)
    of_column = np.zeros(width + 1, int)
    for row in range(1, count + 1):
        of_column[0], column = row, 0
        least, come_from = np.full(width + 1, np.inf), np.zeros(width + 1, int)
        used = np.zeros(width + 1, bool)
        while True:
            used[column] = True
            here = of_column[column]
            reduced = cost[here - 1] - row_price[here] - column_price[1:]
            better = ~used[1:] & (reduced < least[1:])
            least[1:][better] = reduced[better]
            come_from[1:][better] = column
            following = int(np.argmin(np.where(used, np.inf, least)))
            step = least[following]
            row_price[of_column[used]] += step
            column_price[used] -= step
            least[~used] -= step
            column = following
            if of_column[column] == 0:
                break
        while column:
            before = come_from[column]
            of_column[column] = of_column[before]
            column = before
    answer = [0] * count
    for column in range(1, width + 1):
        if of_column[column]:
            answer[of_column[column] - 1] = column - 1
    return answer
